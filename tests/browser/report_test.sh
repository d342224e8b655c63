# Every kind of report, made from small jobs, in a real browser (report_check.mjs).
# Skipped with a note where Chromium, node or the packages of package.json are missing:
# `make test-browser` installs the packages.
here=$(cd "$(dirname "$0")" && pwd)
root=$(cd "$here/../.." && pwd)

skip() {
    echo "ok - reports in a browser # SKIP $1"
    exit 0
}
chromium=$(command -v chromium || command -v chromium-browser) || skip "chromium is not installed"
command -v node >/dev/null || skip "node is not installed"
[ "$(node -p 'parseInt(process.versions.node)')" -ge 18 ] || skip "node is older than 18"
[ -d "$here/node_modules/playwright-core" ] && [ -d "$here/node_modules/axe-core" ] ||
    skip "tests/browser/node_modules is missing: make test-browser"

# The jobs need no sanitizer; the plain program is many times quicker.
program=$root/build/narrows
[ -x "$program" ] || program=$NARROWS
NARROWS=$program
. "$root/tests/cli/claims.sh"

title="</title><script>window.hacked=1</script><img src=x onerror='window.hacked=2'>"
cat >gate.yaml <<END
format: narrows-scenario/1
title: "$title"
fluid: {medium: water, temperature_C: 25}
particles:
  count: 24
  diameter_um: 3.0
  density_kg_m3: 1800
  magnetics: {kind: induced, susceptibility: 0.30, relaxation_time_s: 1.0e-5}
channel:
  depth_um: 60
  nodes: {z: {at_um: [-60, 0]}, a: {at_um: [0, 0]}, b: {at_um: [90, 0]}, c: {at_um: [150, 0]}}
  vessels:
    - {from: z, to: a, width_um: 60}
    - {from: a, to: b, width_um: [[0, 60], [0.4, 12], [0.5, 12], [0.9, 60]]}
    - {from: b, to: c, width_um: 60}
release: {node: a, radius_um: 15}
target: {node: b, radius_um: 25}
deadline_s: 40
goal: {fraction_min: 0.5}
rig:
  field_max_mT: 12
  frequency_max_Hz: 100
  sample_rate_Hz: 5000
  axes:
    x: {mT_per_A: 2, resistance_ohm: 3, inductance_mH: 10, current_max_A: 8, voltage_max_V: 60}
    y: {mT_per_A: 2, resistance_ohm: 3, inductance_mH: 10, current_max_A: 8, voltage_max_V: 60}
    z: {mT_per_A: 2, resistance_ohm: 3, inductance_mH: 10, current_max_A: 8, voltage_max_V: 60}
imaging: {frame_rate_Hz: 10, pixel_um: 1.3, centroid_noise_um: 2, smallest_visible_um2: 50}
uncertainty: {moment_cv: 0.1, rolling_cv: 0.4, pair_flow_cv: 0.3}
sweep:
  drive: {mode: rotating, field_mT: 10, frequency_Hz: 50}
  vary: {frequency_Hz: [20, 80], tilt_deg: [0, 30, 60, 90]}
  seconds: 3
  repeats: 2
END
sed 's/\[0.4, 12\], \[0.5, 12\]/[0.4, 2], [0.5, 2]/' gate.yaml >shut.yaml
schedule() { # TILT
    printf 'format: narrows-schedule/1\nlegs:\n'
    printf '  - name: "<b>gather</b>"\n    drive: {mode: rotating, field_mT: 10, frequency_Hz: 50}\n    until: {elapsed_s: 2}\n'
    printf '  - name: roll\n    drive: {mode: rotating, tilt_deg: %s, field_mT: 10, frequency_Hz: 80, heading: 0}\n    timeout_s: 18\n' "$1"
}
schedule 65 >steep.yaml
schedule 20 >flat.yaml

narrows run gate.yaml --schedule flat.yaml --out run --quiet
narrows plan gate.yaml --out plan --quiet
narrows plan shut.yaml --out refused --quiet
narrows estimate gate.yaml --schedule steep.yaml --trials 16 --out estimate --quiet
narrows compare gate.yaml --schedule steep.yaml --schedule flat.yaml --trials 8 --out compare --quiet
narrows sweep gate.yaml --out sweep --quiet
narrows export gate.yaml --schedule steep.yaml --out export --quiet
narrows report run plan refused estimate compare sweep export --out together --quiet

names="run plan refused estimate compare sweep export together"
entries=()
for name in $names; do
    claim "$name: there is a report" [ -s "$name/report.html" ]
    shown=$title
    [ "$name" = together ] && shown=
    [ -s "$name/report.html" ] && entries+=("$name=$name/report.html${shown:+@$shown}")
done
shots=$root/build/browser
rm -rf "$shots"
node "$here/report_check.mjs" "$chromium" "$shots" "${entries[@]}" || failures=$((failures + 1))
claims_end
