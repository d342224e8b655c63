# narrows report: the same report again, several side by side, Markdown, pictures.
. "$(dirname "$0")/claims.sh"

cat >gate.yaml <<'END'
format: narrows-scenario/1
title: "Twelve & <b>a gate</b>"
fluid: {medium: water, temperature_C: 25}
particles:
  count: 12
  diameter_um: 3.0
  density_kg_m3: 1800
  magnetics: {kind: induced, susceptibility: 0.30, relaxation_time_s: 1.0e-5}
channel:
  depth_um: 60
  nodes: {z: {at_um: [-60, 0]}, a: {at_um: [0, 0]}, b: {at_um: [40, 0]}, c: {at_um: [100, 0]}}
  vessels:
    - {from: z, to: a, width_um: 60}
    - {from: a, to: b, width_um: [[0, 60], [0.4, 11], [0.5, 11], [0.9, 60]]}
    - {from: b, to: c, width_um: 60}
release: {node: a, radius_um: 12}
target: {node: b, radius_um: 14}
deadline_s: 12
rig:
  field_max_mT: 12
  frequency_max_Hz: 100
  sample_rate_Hz: 2000
  axes:
    x: {mT_per_A: 2, resistance_ohm: 3, inductance_mH: 10, current_max_A: 8, voltage_max_V: 60}
    y: {mT_per_A: 2, resistance_ohm: 3, inductance_mH: 10, current_max_A: 8, voltage_max_V: 60}
    z: {mT_per_A: 2, resistance_ohm: 3, inductance_mH: 10, current_max_A: 8, voltage_max_V: 60}
uncertainty: {moment_cv: 0.1, rolling_cv: 0.4}
sweep:
  drive: {mode: rotating, field_mT: 10, frequency_Hz: 50}
  vary: {tilt_deg: [0, 60]}
  seconds: 2
  repeats: 1
END
sed 's/\[0.4, 11\], \[0.5, 11\]/[0.4, 2], [0.5, 2]/' gate.yaml >shut.yaml
schedule() { # TILT
    printf 'format: narrows-schedule/1\nlegs:\n  - name: roll\n    drive: {mode: rotating, tilt_deg: %s, field_mT: 10, frequency_Hz: 80, heading: 0}\n    timeout_s: 6\n' "$1"
}
schedule 70 >steep.yaml
schedule 10 >flat.yaml
narrows run gate.yaml --schedule steep.yaml --out run --quiet
narrows plan shut.yaml --out plan --quiet
narrows estimate gate.yaml --schedule steep.yaml --trials 8 --out steep --quiet
narrows estimate gate.yaml --schedule flat.yaml --trials 8 --out flat --quiet
narrows compare gate.yaml --schedule steep.yaml --schedule flat.yaml --trials 4 --out compare --quiet
narrows sweep gate.yaml --out sweep --quiet
narrows export gate.yaml --schedule steep.yaml --out export --quiet

for name in run plan steep compare sweep export; do
    cp "$name/report.html" first.html
    narrows report "$name" --quiet
    claim "$name: its report can be made again" exits 0
    claim "$name: with the same bytes" cmp -s first.html "$name/report.html"
    claim "$name: nothing else is left in the folder" [ -z "$(find "$name" -name '.*' -type f)" ]
done
rm run/report.html
narrows report run
claim "a report that is missing is made" [ -s run/report.html ]
claim "where it lies is told" says run/report.html

narrows report steep flat compare --out together --json
claim "several folders make one page" exits 0
claim "it lies in a folder of its own" [ -s together/report.html ]
claim "its figures are printed and written" cmp -s .out together/result.json
claim "each schedule is a source" figure \
    '[.figures.sources[].name] == ["steep", "flat", "compare: steep", "compare: flat"]'
# the trials of an estimate and of a comparison are the same, so that all pairs of folders meet
claim "those that ran the same trials are paired" figure '.figures.pairs | length == 5'
claim "the same schedule on the same trials differs by nothing" figure \
    '.figures.pairs[] | select(.a == "steep" and .b == "compare: steep")
     | .difference == 0 and .trials == 4'
claim "a paired difference is that of the means over common trials" figure \
    "(.figures.pairs[0].difference - ($(jq .figures.delivered_fraction steep/result.json) -
     $(jq .figures.delivered_fraction flat/result.json)) | fabs) < 1e-12"
narrows report steep flat
claim "several folders need --out" exits 2
narrows report steep flat --out together
claim "a folder that is there is not replaced without --force" exits 2

narrows report steep --format md --figures steep/figures --quiet
claim "Markdown is written beside the page" [ -s steep/report.md ]
claim "it has no tags" [ -z "$(grep -F '<b>' steep/report.md)" ]
claim "it has the title as text" grep -qF '# Twelve &amp; &lt;b&gt;a gate&lt;/b&gt;' steep/report.md
claim "it has tables" grep -q '^| --- ' steep/report.md
linked=true
for picture in $(sed -n 's/^!\[.*](<\(.*\)>)$/\1/p' steep/report.md); do
    [ -s "steep/$picture" ] || linked=false
done
claim "every picture that it links is there" $linked
claim "it links pictures at all" grep -q '(<figures/trials-picture.svg>)' steep/report.md
narrows report run --format md --quiet
claim "without --figures pictures are described" grep -q '^\*Picture: Map of the channel' run/report.md

narrows report nowhere
claim "a folder that is missing exits 2" exits 2
claim "and is named" complains nowhere
mkdir empty
narrows report empty
claim "a folder without results exits 2" exits 2
narrows report together
claim "a page of several folders is not a result to report" exits 2
narrows report run --format pdf
claim "an unknown format exits 2" exits 2
echo '{"format": "narrows-result/9"}' >empty/result.json
narrows report empty
claim "a newer format is told" exits 2
cp -r run broken
head -c 2000 run/trajectory.h5 >broken/trajectory.h5
narrows report broken
claim "a damaged folder exits 2" exits 2
claim "its report stays as it was" cmp -s run/report.html broken/report.html
claims_end
