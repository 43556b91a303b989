#!/usr/bin/env bash
# Measures how the daemon does on this computer, with a simulated machine on its own
# loopback, panel, scrape and, where mosquitto is installed, a broker:
#   deploy/measure.sh [SECONDS [CASE...]]
# Each case takes that long (default 300): idle, busy (another core spins), small
# (GOMAXPROCS=1 and 64 MiB), fast (10 ms scan), roast (from the charge on, in real time,
# on a machine that begins warm; 300 s at most, before the roast is over), watched (the
# same roast, and 50 screens that come and go all the while: how late scans are with
# them against without). Needs Go or DRUMWRIGHT=path of the program, and curl; strace for
# counting syncs. It speaks to its own daemon only, over a socket of
# its own, never to one that serves a machine here; ports 25020, 21883 and 28420 of the
# loopback must be free. Compare only what was measured in one run, and look at the load
# it states. On a computer that does other things let DRUMWRIGHT name a script that does
# exec chrt -f 10 drumwright "$@", or their hold-ups are all that is seen.
set -euo pipefail
cd "$(dirname "$0")/.."
seconds=${1:-300}
shift || true
cases=${*:-idle busy small fast roast watched}
work=$(mktemp -d)
pids=()
over() {
  for p in "${pids[@]:-}"; do [ -z "$p" ] || kill "$p" 2>/dev/null || true; done
  wait 2>/dev/null || true
  pids=()
}
trap 'over; rm -rf "$work"' EXIT

bin=${DRUMWRIGHT:-}
if [ -z "$bin" ]; then
  bin=$work/drumwright
  CGO_ENABLED=0 go build -trimpath -ldflags='-s -w' -o "$bin" ./cmd/drumwright
fi
broker=$(command -v mosquitto || ls /usr/sbin/mosquitto 2>/dev/null || true)
tick=$(getconf CLK_TCK)
echo "$(uname -srm), $(nproc) cores, load $(cut -d' ' -f1-3 /proc/loadavg), program $(stat -c %s "$bin") bytes, $("$bin" version)"

# what the daemon says of itself
api() { curl -s -m 2 --unix-socket "$folder/api" "http://localhost$1"; }
# how much process $1 has used: clock ticks, written bytes
used() { awk '{print $14 + $15}' "/proc/$1/stat"; }
written() { awk '/^write_bytes/ {print $2}' "/proc/$1/io"; }

# Lateness so far as the daemon counts it: scans, their sum in s, then how many were
# at most so late, one number for each bound.
late() { api /metrics | awk '/^drumwright_scan_lateness_seconds_count/ {n = $NF} /^drumwright_scan_lateness_seconds_sum/ {s = $NF} /^drumwright_scan_lateness_seconds_bucket/ {b = b " " $NF} END {print n, s b}'; }
bounds() { api /metrics | sed -n 's/^drumwright_scan_lateness_seconds_bucket.*le="\([^"]*\)".*/\1/p' | tr '\n' ' '; }

# screens comes and goes with 50 streams of the address for viewers, by turns of 15 s
# without and with them, in an order that a drift of the computer cannot favour.
screens() {
  local until=$((SECONDS + $1)) turn=0 arm before
  while [ $((SECONDS + 34)) -le "$until" ]; do
    for arm in $([ $((turn++ % 2)) = 0 ] && echo without with || echo with without); do
      local open=()
      if [ "$arm" = with ]; then
        for _ in $(seq 50); do
          curl -s -N http://127.0.0.1:28420/api/v1/events >/dev/null & open+=($!)
        done
      fi
      sleep 2 # until they are there, or gone
      before=$(late)
      sleep 13
      if [ "$arm" = with ] && [ "$(ss -Htn state established 'sport = :28420' | wc -l)" -ne 50 ]; then echo "the 50 screens did not stay" >&2; return 1; fi
      echo "$arm $before $(late)"
      [ "${#open[@]}" = 0 ] || { kill "${open[@]}"; wait "${open[@]}" 2>/dev/null || true; }
    done
  done
}

# compared reads turns of screens and says how they differ. Quantiles are within the
# daemon's bounds by the rule of three; what is beyond them is the other programs' doing
# as often as not, so the mean of a turn is held against the one beside it only.
compared() {
  awk -v bounds="$1" '
    function q(arm, x,  i, lo) {
      for (i = 1; i <= m; i++) if (at[arm, i] >= x * scans[arm]) {
        lo = i > 1 ? at[arm, i - 1] : 0
        if (le[i] == "+Inf") return 1000 * le[i - 1]
        return 1000 * (le[i - 1] + (le[i] - le[i - 1]) * (at[arm, i] > lo ? (x * scans[arm] - lo) / (at[arm, i] - lo) : 1))
      }
    }
    {k = (NF - 1) / 2; m = k - 2; n = $(2 + k) - $2; mean[$1] = ($(3 + k) - $3) / n; scans[$1] += n; sum[$1] += $(3 + k) - $3
     for (i = 1; i <= m; i++) at[$1, i] += $(3 + k + i) - $(3 + i)
     if (NR % 2 == 0) ratio[++turns] = mean["with"] / mean["without"]}
    END {split(bounds, le, " "); le[0] = 0
      for (i = 1; i <= turns; i++) for (j = i; j > 1 && ratio[j] < ratio[j - 1]; j--) {x = ratio[j]; ratio[j] = ratio[j - 1]; ratio[j - 1] = x}
      middle = turns % 2 ? ratio[(turns + 1) / 2] : (ratio[turns / 2] + ratio[turns / 2 + 1]) / 2
      for (a = 0; a < 2; a++) {arm = a ? "with" : "without"
        printf "       %-7s 50 screens: %d scans, half at most %.3f ms late, nine of ten %.3f, 99 of 100 %.1f, mean %.3f\n", arm, scans[arm], q(arm, 0.5), q(arm, 0.9), q(arm, 0.99), 1000 * sum[arm] / scans[arm]}
      printf "       with against without: half %.2f, nine of ten %.2f, 99 of 100 %.2f; means of %d turns %.2f in the middle, %.2f to %.2f\n",
        q("with", 0.5) / q("without", 0.5), q("with", 0.9) / q("without", 0.9), q("with", 0.99) / q("without", 0.99), turns, middle, ratio[1], ratio[turns]}'
}

one() {
  local name=$1 period='100 ms' env=() folder seconds=$seconds roasts=false view=''
  case $name in roast | watched) roasts=true ;; esac
  if $roasts && [ "$seconds" -gt 300 ]; then seconds=300; fi
  folder=$work/$name
  mkdir -p "$folder"
  [ "$name" != fast ] || period='10 ms'
  [ "$name" != watched ] || view='access: {view: "127.0.0.1:28420"}'
  [ "$name" != small ] || env=(GOMAXPROCS=1 GOMEMLIMIT=64MiB)
  sed -e "s/^  period: 100 ms/  period: $period/" -e 's/port: 15020/port: 25020/' -e "s|listen: 127.0.0.1:8420|listen: $folder/api|" \
    -e 's/127.0.0.1:1883/127.0.0.1:21883/' profiles/machines/heron-1000.yaml >"$folder/machine.yaml"
  printf '\n%s\n' "$view" >>"$folder/machine.yaml"
  cp -r profiles/recipes "$folder/recipes"
  if [ -n "$broker" ]; then
    printf 'listener 21883 127.0.0.1\nallow_anonymous true\npersistence false\n' >"$folder/broker.conf"
    "$broker" -c "$folder/broker.conf" >/dev/null 2>&1 & pids+=($!)
  fi
  mkfifo "$folder/hands"
  local warm=0
  ! $roasts || warm=200
  "$bin" plant --warm "$warm" "$folder/machine.yaml" <"$folder/hands" >"$folder/plant.log" 2>&1 &
  local plant=$!
  pids+=("$plant")
  exec 3>"$folder/hands"
  sleep 1
  kill -0 "$plant" 2>/dev/null || { echo "$name: no simulated machine:"; tail -3 "$folder/plant.log"; return 1; }

  local begin first
  begin=$(date +%s%N)
  env "${env[@]}" "$bin" serve "$folder/machine.yaml" --log warn --bench "measure: simulated, nothing is heated" --for "$((seconds + 7200))" >"$folder/serve.out" 2>"$folder/serve.log" &
  local serve=$!
  pids+=("$serve")
  until kill -0 "$serve" 2>/dev/null && api /api/v1/state | grep -q '"bean":{"value":[^}]*"quality":"good"'; do
    [ $(($(date +%s%N) - begin)) -lt 20000000000 ] || { echo "$name: no good scan within 20 s"; tail -3 "$folder/serve.log"; return 1; }
  done
  first=$((($(date +%s%N) - begin) / 1000000))

  # A panel that listens, but where all are counted, and a scrape every 5 s.
  if [ "$name" != watched ]; then
    curl -s -N --unix-socket "$folder/api" http://localhost/api/v1/events >/dev/null & pids+=($!)
  fi
  (while sleep 5; do api /metrics >/dev/null; done) & pids+=($!)
  if [ "$name" = busy ]; then
    (while :; do :; done) & pids+=($!)
  fi
  if $roasts; then
    give() { "$bin" do "$@" --address "$folder/api" --who measure >/dev/null; }
    give load-recipe --recipe harbour-medium
    give acknowledge # a controller that starts on a hot machine trips, and asks
    give reset
    sleep 1
    give warm
    local waited=0
    until api /api/v1/state | grep -q '"state":"ready"'; do
      if ! kill -0 "$serve" 2>/dev/null || [ $((waited += 1)) -ge 900 ] || api /api/v1/state | grep -q '"state":"tripped"'; then
        echo "$name: it tripped, ended or was not ready within 15 min:"
        grep 'msg=trip' "$folder/serve.log" | tail -n +2 | grep . || tail -3 "$folder/serve.log"
        return 1
      fi
      sleep 1
    done
    echo "charge 1000 11" >&3
    until api /api/v1/state | grep -q '"state":"roasting"'; do
      [ $((waited += 1)) -lt 1000 ] || { echo "$name: the charge was not seen"; return 1; }
      sleep 1
    done
  fi

  local c0 w0 c1 w1
  sleep 2
  c0=$(used "$serve") w0=$(written "$serve")
  local syncs=none
  if [ "$name" = watched ]; then
    screens "$seconds" >"$folder/turns"
    c1=$(used "$serve") w1=$(written "$serve")
    local span=$seconds
  elif command -v strace >/dev/null; then # for a fifth of the time: it costs some time itself
    sleep $((seconds * 4 / 5))
    c1=$(used "$serve") w1=$(written "$serve")
    timeout $((seconds / 5)) strace -f -q -c -e trace=fsync,fdatasync -p "$serve" -o "$folder/syncs" 2>/dev/null || true
    syncs=$(awk -v s=$((seconds / 5)) '$NF ~ /^f(data)?sync$/ {n += $4} END {printf "%.0f an hour", n * 3600 / s}' "$folder/syncs")
    local span=$((seconds * 4 / 5))
  else
    sleep "$seconds"
    c1=$(used "$serve") w1=$(written "$serve")
    local span=$seconds
  fi
  local rss
  if $roasts && ! api /api/v1/state | grep -q '"state":"roasting"'; then
    echo "$name: the roast was over or stopped before the time was: take fewer seconds"
    grep 'msg=trip' "$folder/serve.log" || true
    return 1
  fi
  [ "$name" != watched ] || compared "$(bounds)" <"$folder/turns" >"$folder/compared"
  rss=$(awk '/^VmHWM/ {printf "%.1f", $2 / 1024}' "/proc/$serve/status")
  kill -INT "$serve"
  wait "$serve" 2>/dev/null || true
  exec 3>&-
  awk -v n="$name" -v c="$((c1 - c0))" -v t="$tick" -v s="$span" -v w="$((w1 - w0))" -v rss="$rss" -v first="$first" -v syncs="$syncs" \
    'BEGIN {printf "%-6s %5.2f %% of a core, %s MiB at most, first good scan after %d ms, %.2f MB written an hour, syncs: %s\n", n, 100 * c / t / s, rss, first, w * 3600 / s / 1e6, syncs}'
  sed 's/^/       /' "$folder/serve.out"
  [ "$name" != watched ] || cat "$folder/compared"
  over
}

for c in $cases; do
  case $c in
  idle | busy | small | fast | roast | watched) one "$c" ;;
  *) echo "case $c: allowed are idle, busy, small, fast, roast and watched" >&2; exit 2 ;;
  esac
done
