#!/usr/bin/env bash
# Opens the pages that the program writes, a debrief and a class, in headless Chromium at the
# widths of a phone and of a desk: no error on the console, nothing asked for from elsewhere,
# pictures to be seen, nothing wider than the window, and no serious finding of axe-core.
#
# It also shows that attempts are reproduced on a build with another optimisation level: the
# hand-ins are made by the debug build, and the release build does them again.
#
# Needs chromium, node and npm, which a fresh machine has not, so it is not part of `cargo test`.
# Arguments: attempts handed in (100). Pictures of the pages are left in target/pages.
set -euo pipefail
cd "$(dirname "$0")/../.."
attempts=${1:-100}
target=${CARGO_TARGET_DIR:-target}
pages=$target/pages
mkdir -p "$pages"
pages=$(cd "$pages" && pwd)
cargo build --quiet
cargo build --release --quiet
release=$target/release/halfsplit
debug=$target/debug/halfsplit
export XDG_CACHE_HOME=$pages/home
rm -rf "$pages/home" "$pages/class"
mkdir -p "$pages/class"

# Drills by somebody who looks, measures and calls, right or not; every one in the logbook.
systems=(bench t4-dc t4-ac)
calls=('call S1:open-ON' 'call FLK:open' 'call F-FLT-C:open')
for seed in $(seq "$attempts"); do
  which=$((seed % 3))
  # A trainee by herself, and three that share the rest; each has a logbook.
  trainee=0
  [ "$seed" -le $((attempts / 2)) ] || trainee=$((1 + seed % 3))
  export XDG_DATA_HOME=$pages/home/$trainee
  printf '%s\n' look 'dc TB1-1' look 'set VSEL FLT C' 'go fuses' look "${calls[$which]}" |
    "$debug" drill "${systems[$which]}" --plain --seed "$seed" >/dev/null 2>&1 || true
done
# Names that need care.
names=('Trainee 1' 'A & B' '<i>Kim</i>' '=1+1')
for trainee in 0 1 2 3; do
  XDG_DATA_HOME=$pages/home/$trainee "$debug" handin --name "${names[$trainee]}" \
    -o "$pages/class/$trainee.jsonl" >/dev/null
done
"$release" verify "$pages"/class/*.jsonl >"$pages/verified.txt" || {
  grep -v ': reproduced$' "$pages/verified.txt" | head
  exit 1
}
echo "$(grep -c ': reproduced$' "$pages/verified.txt") attempts of the debug build reproduced by the release build"

"$release" class "$pages/class" --html "$pages/class.html" >/dev/null
printf '%s\n' 'set VSEL FLT C' 'go fuses' 'pull F-FLT-C' 'call F-FLT-C:open' |
  "$release" drill t4-ac --fault F-FLT-C:open --seed 4 --no-log --report "$pages/debrief.html" >/dev/null

if [ ! -d "$pages/node_modules/puppeteer-core" ] || [ ! -d "$pages/node_modules/axe-core" ]; then
  (cd "$pages" && PUPPETEER_SKIP_DOWNLOAD=1 npm install --silent --no-audit --no-fund axe-core puppeteer-core)
fi
cp tests/pages/check.mjs "$pages/check.mjs"
node "$pages/check.mjs" "$(command -v chromium || command -v chromium-browser)" "$pages" class.html debrief.html
