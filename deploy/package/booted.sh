#!/usr/bin/env bash
# Boots a clean Debian with its own service manager in a container, without a network,
# and lives through the package there: installed, set up, started with all that the
# unit forbids, a recipe saved from the page, an upgrade refused in a roast and taken
# after it, a daemon that hangs, removed and purged.
#   deploy/package/booted.sh OLD.deb NEW.deb [ROOT]
# Needs root's rights, systemd-nspawn and, without ROOT, debootstrap. ROOT is an
# unpacked Debian with systemd, udev and curl, changed by this. Two minutes.
set -euo pipefail
old=$(realpath "$1") new=$(realpath "$2") root=${3:-}
if [ -z "$root" ]; then
  root=$(mktemp -d)
  trap 'rm -rf "$root"' EXIT
  debootstrap --variant=minbase --include=systemd,systemd-sysv,udev,dbus,curl bookworm "$root" >/dev/null
fi
chmod 755 "$root" # for the user of the daemon
mkdir -p "$root/trial"
rm -f "$root/trial/result"
cp "$old" "$root/trial/old.deb"
cp "$new" "$root/trial/new.deb"
cat >"$root/trial/trial.sh" <<'T'
set -euo pipefail
export LC_ALL=C DEBIAN_FRONTEND=noninteractive HOME=/root
say() { printf '%s\n' "$*"; }
no() { say "FAILED: $*"; journalctl -u drumwright --no-pager -n 40; exit 1; }
api=http://127.0.0.1:8420/api/v1
get() { curl -sS --max-time 5 "$api/$1"; }
post() { curl -sS --max-time 5 -o /trial/answer -w '%{http_code}' -H 'Content-Type: application/json' --data-binary @- "$api/$1"; }
until_state() { for _ in $(seq 240); do get state | grep -q "\"state\":\"$1\"" && return; sleep 0.5; done; no "not $1 within two minutes: $(get state | head -c 400)"; }
version() { get machine | grep -o '"version":"[^"]*"'; }

dpkg -i /trial/old.deb >/trial/dpkg.log 2>&1 || no "install: $(cat /trial/dpkg.log)"
[ "$(systemctl is-enabled drumwright)" = enabled ] || no "the service is not enabled"
systemctl is-active -q drumwright && no "the service runs before there is a machine file"
printf 'network\nloft\nroaster\n127.0.0.1:15020\n' | drumwright setup >/dev/null
systemd-run -q --unit=simulated drumwright plant /etc/drumwright/machine.yaml
# An administrator commissions before the first start: what that leaves is the daemon's.
printf 'yes\n' | drumwright calibrate /etc/drumwright/machine.yaml bean --who Ada --ice 0.4 --boil 99.6 --altitude 100 >/trial/answer || no "calibrate: $(cat /trial/answer)"
[ -z "$(find /var/lib/drumwright ! -user drumwright)" ] || no "not the daemon's: $(find /var/lib/drumwright ! -user drumwright)"
sleep 2
systemctl start drumwright || no "start"
systemctl is-active -q drumwright || no "not active"
get state | grep -q '"state":"cold"' || no "no answer: $(get state)"
say "started: $(systemctl show -p StatusText --value drumwright)"
say "$(systemd-analyze security --no-pager drumwright.service | tail -n 1)"

# The page saves a recipe, with the sandbox of the unit in force.
recipes=/var/lib/drumwright/recipes
hash=$(get recipes/harbour-medium | grep -o '"hash":"[^"]*"' | cut -d'"' -f4)
json() { sed -e 's/\\/\\\\/g' -e 's/"/\\"/g' -e 's/$/\\n/' "$1" | tr -d '\n'; }
cp $recipes/harbour-medium.yaml /trial/mine.yaml
echo '# saved from the page' >>/trial/mine.yaml
code=$(printf '{"text": "%s", "based_on": "%s", "who": "Ada"}' "$(json /trial/mine.yaml)" "$hash" | post recipes/harbour-medium)
[ "$code" = 201 ] || no "saving a recipe: $code $(cat /trial/answer)"
tail -n 1 $recipes/harbour-medium.yaml | grep -q 'saved from the page' || no "the recipe is not in the folder"
get recipes/harbour-medium/versions | grep -q '"who":"Ada"' || no "no version was kept"
say "a recipe was saved from the page"
# What the daemon may not change, asked from within its own sandbox and as its user.
pid=$(systemctl show -p MainPID --value drumwright)
within() { nsenter -t "$pid" -m setpriv --reuid drumwright --regid drumwright --clear-groups sh -c "$1" 2>/dev/null; }
within ': >>/var/lib/drumwright/try && rm /var/lib/drumwright/try' || no "it cannot write its own folder"
for place in /etc/drumwright/machine.yaml /etc/drumwright/try /usr/share/drumwright/try /run/try /root/try; do
  if within ": >>$place"; then no "the daemon can write $place"; fi
done
if nsenter -t "$pid" -m sh -c ': >>/etc/drumwright/machine.yaml' 2>/dev/null; then no "even root could write the machine file in the sandbox"; fi
say "it writes /var/lib/drumwright and nothing else"

# Neither upgrade nor removal cuts into heat.
post commands >/dev/null <<<'{"kind": "load-recipe", "recipe": "harbour-medium", "who": "Ada"}'
post commands >/dev/null <<<'{"kind": "warm", "who": "Ada"}'
until_state warming
for how in "-i /trial/new.deb" "-r drumwright"; do
  # shellcheck disable=SC2086
  if dpkg $how >/trial/dpkg.log 2>&1; then no "dpkg $how cut into heat"; fi
  get state | grep -q '"state":"warming"' || no "dpkg $how stopped the warming"
done
say "refused while warming: $(grep -m1 -i 'warming\|not cold\|cold' /trial/dpkg.log)"
post commands >/dev/null <<<'{"kind": "stop", "who": "Ada"}'
until_state cold
before=$(version)
dpkg -i /trial/new.deb >/trial/dpkg.log 2>&1 || no "upgrade: $(cat /trial/dpkg.log)"
until_state cold
[ "$(version)" != "$before" ] || no "the old program still runs: $before"
tail -n 1 $recipes/harbour-medium.yaml | grep -q 'saved from the page' || no "the upgrade changed a recipe"
say "upgraded and started anew: $before, then $(version)"

# A wrong machine file: it stays down and says where the fault is.
cp /etc/drumwright/machine.yaml /trial/good.yaml
sed -i 's/^  radius: .*/  radius: 108/' /etc/drumwright/machine.yaml
systemctl restart drumwright || true
sleep 3
[ "$(systemctl is-failed drumwright)" = failed ] || no "it is tried again: $(systemctl is-active drumwright)"
status=$(systemctl status --no-pager drumwright || true)
grep -q 'machine.yaml:[0-9]*: drum.radius: found 108' <<<"$status" || no "the status does not say what is wrong: $status"
cp /trial/good.yaml /etc/drumwright/machine.yaml
systemctl start drumwright || no "start with the mended file"
until_state cold
say "a wrong machine file was named with its line, and the mended one taken"

# A daemon that hangs is killed by the watchdog and started anew.
pid=$(systemctl show -p MainPID --value drumwright)
kill -STOP "$pid"
for _ in $(seq 80); do
  now=$(systemctl show -p MainPID --value drumwright)
  [ "$now" != "$pid" ] && [ "$now" != 0 ] && break
  sleep 0.5
done
[ "$now" != "$pid" ] && [ "$now" != 0 ] || no "the watchdog did nothing"
for _ in $(seq 40); do get state 2>/dev/null | grep -q '"state"' && break; sleep 0.5; done
say "a hung daemon was replaced: $(systemctl show -p NRestarts drumwright), state $(get state | grep -o '"state":"[^"]*"' | head -n 1)"

systemctl stop drumwright
dpkg -r drumwright >/dev/null
[ -e /etc/drumwright/machine.yaml ] && [ -e $recipes/harbour-medium.yaml ] || no "removal took the shop's files"
dpkg --purge drumwright >/dev/null 2>&1
if [ -e /etc/drumwright ] || [ -e /var/lib/drumwright ] || id drumwright >/dev/null 2>&1; then no "purging left something"; fi
systemctl list-unit-files --no-legend 'drumwright*' | grep -q . && no "a unit is left"
say "removed and purged"
say PASSED
T
cat >"$root/etc/systemd/system/trial.service" <<'U'
[Unit]
After=multi-user.target dbus.service
[Service]
Type=oneshot
ExecStart=/bin/bash /trial/trial.sh
ExecStopPost=/bin/systemctl poweroff --no-block
StandardOutput=append:/trial/result
StandardError=append:/trial/result
TimeoutStartSec=10min
[Install]
WantedBy=graphical.target
U
mkdir -p "$root/etc/systemd/system/graphical.target.wants"
ln -sf ../trial.service "$root/etc/systemd/system/graphical.target.wants/trial.service"
systemd-nspawn -q --register=no --keep-unit --private-network -D "$root" -b >"$root/trial/boot.log" 2>&1 || true
cat "$root/trial/result"
tail -n 1 "$root/trial/result" | grep -qx PASSED
