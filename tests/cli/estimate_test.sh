# narrows estimate: trials, intervals, losses, interruption, redoing one trial.
. "$(dirname "$0")/claims.sh"

cat >gate.yaml <<'END'
format: narrows-scenario/1
title: Twelve particles and a short gate
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
deadline_s: 31
goal: {fraction_min: 0.5, hold_s: 0.5}
imaging: {smallest_visible_um2: 30}
uncertainty: {moment_cv: 0.1, rolling_cv: 0.4, pair_flow_cv: 0.3}
END
cat >schedule.yaml <<'END'
format: narrows-schedule/1
legs:
  - name: gather
    drive: {mode: rotating, field_mT: 10, frequency_Hz: 50}
    until: {elapsed_s: 0.5}
  - name: roll
    drive: {mode: rotating, tilt_deg: 70, field_mT: 10, frequency_Hz: 80, heading: b}
    timeout_s: 28
END

narrows estimate gate.yaml --schedule schedule.yaml --trials 12 --goal 0.6 --out whole --threads 1 --json
claim "a completed estimate exits 0" exits 0
claim "nothing but progress is told aside" only_progress
claim "the contract's figures are all there" figure \
    '.figures as $f | ["trials", "delivered_fraction", "delivered_low", "delivered_high",
     "delivered_p10", "lost", "time_to_target_s", "visible_fraction_of_time"] | all(in($f))'
claim "as many trials were done as were asked for" figure '.figures.trials == 12'
claim "the interval holds the mean" figure \
    '.figures | .delivered_low <= .delivered_fraction and .delivered_fraction <= .delivered_high'
# Whole particles over whole particles: only rounding is allowed.
claim "some arrive and some don't, so that the claims below say something" figure \
    '.figures | .delivered_fraction > 0.05 and .delivered_fraction < 0.95'
claim "delivered and lost sum to 1" figure \
    '(.figures | .delivered_fraction + ([.lost[]] | add) - 1 | fabs) < 1e-12'
claim "losses by cause are the same losses" figure \
    '(.figures | ([.lost[]] | add) - ([.lost_by_cause[]] | add) | fabs) < 1e-12'
claim "every particle of every trial is counted" figure '.figures.losses.particles == 144'
claim "those lost at each stage and those retained are all" figure \
    '.figures.losses | ([.stages[].lost] | add) + .stages[-1].reached == .particles'
claim "percentages of exits and the retained sum to exactly 100.0" figure \
    '.figures.losses | [.exits[].percent * 10 | round] + [.retained_percent * 10 | round] | add == 1000'
claim "percentages by stage and by vessel are the same exits" figure \
    '.figures.losses | ([.exits[].percent * 10 | round] | add) as $all
     | ([.stages[].lost_percent * 10 | round] | add) == $all
     and ([.vessels[].percent * 10 | round] | add) == $all'
claim "the goal asked for is the one judged" figure '.figures.goal.fraction == 0.6'
claim "only what the scenario calls uncertain is judged" figure \
    '[.figures.sensitivity.parameters[].parameter] == ["moment", "rolling", "pair_flow"]'
claim "trials.csv has the contract's columns and the drawn factors" \
    [ "$(head -n 1 whole/trials.csv | tr -d '\r')" = "trial,seed,delivered_fraction,time_to_target_s,wall,left_behind,washed_out,scattered,in_transit,moment,viscosity,rolling,pair_flow,time_s,visible_fraction_of_time,arrived,held_fraction,failed" ]
claim "trials.csv has a row for each trial" [ "$(wc -l <whole/trials.csv)" = 13 ]
claim "the mean of trials.csv is the delivered fraction" near .figures.delivered_fraction \
    "$(awk -F, 'NR > 1 {s += $3} END {printf "%.17g", s / 12}' whole/trials.csv)" 1e-12
claim "a whole estimate keeps no checkpoint" \
    test ! -e whole/checkpoint.txt -a ! -e .whole.checkpoint

narrows estimate gate.yaml --schedule schedule.yaml --trials 12 --goal 0.6 --out two --threads 2 --quiet
claim "two threads give the same trials as one, to the last byte" cmp -s whole/trials.csv two/trials.csv
claim "two threads give the same figures as one" \
    [ "$(jq -S .figures whole/result.json)" = "$(jq -S .figures two/result.json)" ]

# A trial is redone from the folder's inputs and its number alone.
narrows run whole/scenario.yaml --schedule whole/schedule.yaml --trial 7 --json
row=$(sed -n 9p whole/trials.csv)
claim "run --trial redoes the trial of that number" figure \
    ".figures.delivered_fraction == $(cut -d, -f3 <<<"$row") and .figures.trial.seed == $(cut -d, -f2 <<<"$row")"
claim "run --trial has the trial's draw" figure ".figures.trial.rolling == $(cut -d, -f12 <<<"$row")"

# Far more trials than a second is enough for: interrupted for certain.
stopped INT 'listens && sleep 1' estimate gate.yaml --schedule schedule.yaml \
    --trials 1000000 --goal 0.6 --out cut --json
claim "an interrupted estimate exits 130" exits 130
claim "it says how far it got" complains "of 1000000 trials"
claim "its folder says that it is partial" jq -e .figures.partial cut/result.json >.jq
narrows estimate gate.yaml --schedule schedule.yaml --trials 12 --out cut --resume --seed 2 --json
claim "--resume of another job is wrong usage" exits 2
narrows estimate gate.yaml --schedule schedule.yaml --trials 12 --goal 0.6 --out cut --resume --quiet
claim "--resume goes on" exits 0
claim "a resumed estimate has the trials of one that was not interrupted" \
    cmp -s whole/trials.csv cut/trials.csv
claim "and its figures" \
    [ "$(jq -S .figures whole/result.json)" = "$(jq -S .figures cut/result.json)" ]
claim "and no more files" [ "$(ls whole)" = "$(ls cut)" ]

# Killed, nothing could be tidied up; what was done lies beside the folder.
stopped KILL '[ -s .killed.checkpoint ]' estimate gate.yaml --schedule schedule.yaml \
    --trials 1000000 --out killed --quiet
claim "a killed estimate leaves its checkpoint" [ -s .killed.checkpoint ]
narrows estimate gate.yaml --schedule schedule.yaml --trials 12 --goal 0.6 --out killed --resume --quiet
claim "--resume goes on after a kill too" cmp -s whole/trials.csv killed/trials.csv
claim "and takes the checkpoint away" [ ! -e .killed.checkpoint ]

narrows estimate gate.yaml --schedule schedule.yaml --trials 60 --half-width 0.45 --json
claim "--half-width stops at the first step that is good enough" figure '.figures.trials == 16'
narrows estimate gate.yaml --schedule schedule.yaml --trials 2
claim "the readable result tells the mean and where the rest is" says "Where they are at the end"
claim "few trials are warned of" says "fewer than 16 trials"
narrows estimate gate.yaml --schedule schedule.yaml --goal 1.5
claim "a goal above 1 is wrong usage" exits 2
narrows estimate gate.yaml
claim "a missing schedule is wrong usage" exits 2

cat >>gate.yaml <<'END'
rig:
  field_max_mT: 5
  frequency_max_Hz: 100
  sample_rate_Hz: 10000
  axes:
    x: {mT_per_A: 2, resistance_ohm: 3, inductance_mH: 10, current_max_A: 8, voltage_max_V: 60}
    y: {mT_per_A: 2, resistance_ohm: 3, inductance_mH: 10, current_max_A: 8, voltage_max_V: 60}
    z: {mT_per_A: 2, resistance_ohm: 3, inductance_mH: 10, current_max_A: 8, voltage_max_V: 60}
END
narrows estimate gate.yaml --schedule schedule.yaml --trials 2 --json
claim "a schedule beyond the rig exits 1" exits 1
claim "its figures have no value" figure '.figures | .delivered_fraction == null and .lost.wall == null'

claims_end
