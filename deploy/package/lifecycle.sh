#!/usr/bin/env bash
# Installs, upgrades, removes and purges the package in a clean Debian root:
#   deploy/package/lifecycle.sh OLD.deb NEW.deb [ROOT]
# Needs root's rights. ROOT is an unpacked Debian, changed by this; without it one
# is made with debootstrap. No service manager runs in there, and no daemon.
set -euo pipefail
old=$(realpath "$1") new=$(realpath "$2") root=${3:-}
if [ -z "$root" ]; then
  root=$(mktemp -d)
  trap 'rm -rf "$root"' EXIT
  debootstrap --variant=minbase bookworm "$root" >/dev/null
fi
chmod 755 "$root" # for the user of the daemon
cp "$old" "$root/old.deb"
cp "$new" "$root/new.deb"
inside() { chroot "$root" env DEBIAN_FRONTEND=noninteractive LC_ALL=C "$@"; }
must() { "$@" || { echo "failed: $*" >&2; exit 1; }; }

must inside dpkg -i /old.deb
must inside drumwright version
must inside id drumwright
inside id -nG drumwright | grep -qw dialout || { echo "the user is not in dialout" >&2; exit 1; }
[ "$(stat -c %a "$root/var/lib/drumwright")" = 750 ]
printf '\n\n\n\n' | must inside drumwright setup >/dev/null
must inside drumwright check /etc/drumwright/machine.yaml >/dev/null
# Recipes lie in the state directory; in packages before that in /etc.
recipes=$root/var/lib/drumwright/recipes
[ -d "$recipes" ] || recipes=$root/etc/drumwright/recipes
echo '# mine' >>"$recipes/harbour-medium.yaml"
echo kept >"$root/var/lib/drumwright/state"

# A machine that roasts, as its daemon would answer: the upgrade is refused.
if command -v python3 >/dev/null; then
  mkfifo "$root/../ready.$$"
  python3 - "$root/../ready.$$" <<'P' &
import http.server, sys
class H(http.server.BaseHTTPRequestHandler):
    def do_GET(s):
        s.send_response(200); s.end_headers(); s.wfile.write(b'{"state":"roasting","next":"Wait."}')
    def log_message(s, *a): pass
server = http.server.HTTPServer(("127.0.0.1", 8420), H)
open(sys.argv[1], "w").close()
server.serve_forever()
P
  daemon=$!
  read -r _ <"$root/../ready.$$" || true
  rm "$root/../ready.$$"
  if inside dpkg -i /new.deb; then echo "an upgrade cut a roast" >&2; kill $daemon; exit 1; fi
  if inside dpkg -r drumwright; then echo "a removal cut a roast" >&2; kill $daemon; exit 1; fi
  kill $daemon
fi

must inside dpkg -i /new.deb
inside dpkg-query -W -f '${Version}\n' drumwright
recipes=$root/var/lib/drumwright/recipes
tail -1 "$recipes/harbour-medium.yaml" | grep -q '# mine'
# The daemon's user may make versions and replace recipes, and not the machine file.
as() { chroot --userspec=drumwright:drumwright "$root" "$@"; }
must as sh -c 'mkdir -p /var/lib/drumwright/recipes/.versions && cp /var/lib/drumwright/recipes/harbour-medium.yaml /var/lib/drumwright/recipes/.new && mv /var/lib/drumwright/recipes/.new /var/lib/drumwright/recipes/harbour-medium.yaml'
if as sh -c ': >>/etc/drumwright/machine.yaml' 2>/dev/null; then echo "the daemon may change the machine file" >&2; exit 1; fi
must inside dpkg -r drumwright
[ ! -e "$root/usr/bin/drumwright" ]
grep -q kept "$root/var/lib/drumwright/state"
tail -1 "$recipes/harbour-medium.yaml" | grep -q '# mine'
[ -e "$root/etc/drumwright/machine.yaml" ]
must inside dpkg -i /new.deb
must inside dpkg --purge drumwright
[ ! -e "$root/var/lib/drumwright" ] && [ ! -e "$root/etc/drumwright" ]
if inside id drumwright 2>/dev/null; then echo "the user is left" >&2; exit 1; fi
rm "$root/old.deb" "$root/new.deb"
echo "installed, refused while roasting, upgraded, removed, purged"
