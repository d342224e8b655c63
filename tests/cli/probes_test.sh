# Lone particles and pairs through the whole program against theory.
. "$(dirname "$0")/claims.sh"

pi=3.14159265358979323846

# scenario FLOOR BROWNIAN MAGNETICS POSITIONS DEADLINE [MODEL KEYS]
scenario() {
    cat <<END
format: narrows-scenario/1
title: A probe
fluid: {medium: custom, viscosity_mPa_s: 1.0, density_kg_m3: 1000, temperature_C: 25}
particles:
  positions_um: $4
  diameter_um: 2.0
  density_kg_m3: 2000
  magnetics: $3
channel: {open: true, floor: $1, nodes: {far: {at_um: [1000, 0]}}}
target: {node: far, radius_um: 5}
deadline_s: $5
model: {brownian: $2${6:+, $6}}
END
}
schedule() { # DRIVE SECONDS
    printf 'format: narrows-schedule/1\nlegs:\n  - name: probe\n    drive: %s\n    until: {elapsed_s: %s}\n' "$1" "$2"
}
permanent='{kind: permanent, moment_fAm2: 2}'
induced='{kind: induced, susceptibility: 0.3, relaxation_time_s: 2.0e-5}'

# Overdamped and without noise or floor the fall is exactly uniform.
scenario false false "$induced" '[[0, 0, 0]]' 10 >fall.yaml
schedule '{mode: "off"}' 10 >off.yaml
narrows run fall.yaml --schedule off.yaml --out fall --json
z=$(sed -n 2p fall/final.csv | cut -d, -f4)
out="{\"z\": $z}"
claim "without a floor a sphere falls at the Stokes speed" \
    near .z "-10 * 1000 * 9.80665e-6 * (4 * $pi / 3) / (6 * $pi * 1e-3)" 1e-4

# Adler's law: mean spin f - sqrt(f^2 - f_c^2) above step-out, f_c = m B/(16 pi^2 eta a^3).
# Neither noise nor floor; 1 % for whole turns in the time.
scenario false false "$permanent" '[[0, 0, 0]]' 4 >turn.yaml
for f in 5 40; do
    schedule "{mode: rotating, field_mT: 2, frequency_Hz: $f}" 4 >turn_schedule.yaml
    narrows run turn.yaml --schedule turn_schedule.yaml --model resolved --json
    claim "a permanent moment at $f Hz spins as Adler's law says" near .figures.mean_spin_Hz \
        "(2 * 2 / (16 * $pi * $pi * 1e-3)) as \$c | if $f <= \$c then $f else $f - ($f * $f - \$c * \$c | sqrt) end" 0.01
done

# Two moments head to tail, without noise: relative speed 2 F/(6 pi eta a) with
# F = 0.6 m^2/r^4, so r^5 falls by 6 m^2 t/(6 pi eta a). The field holds the
# moments along x; hydrodynamic interaction of forced pairs isn't modelled.
scenario false false "$permanent" '[[-6, 0, 0], [6, 0, 0]]' 60 "gravity: false" >pair.yaml
schedule '{mode: steady, field_mT: 10, heading: 0}' 60 >steady.yaml
narrows run pair.yaml --schedule steady.yaml --out pair --json
a=$(sed -n 2p pair/final.csv | cut -d, -f2)
b=$(sed -n 3p pair/final.csv | cut -d, -f2)
out="{\"r\": $(jq -n "$b - $a")}"
# The step's error is second order, and the path is smooth: 0.2 %.
claim "two dipoles head to tail approach as theory says" near .r \
    "pow(pow(12; 5) - 5 * 2 * 0.6 * 4 * 60 / (6 * $pi * 1e-3); 0.2)" 0.002

# Einstein: mean square displacement 2 D t in each direction. 600 spheres far
# apart, 3 directions: relative deviation sqrt(2/1800) = 0.033; five of them.
positions=$(for i in $(seq 0 599); do printf '[%d, %d, 0], ' $((i % 25 * 50)) $((i / 25 * 50)); done)
scenario false true "$induced" "[${positions%, }]" 2 "gravity: false" >diffuse.yaml
schedule '{mode: "off"}' 2 >off2.yaml
narrows run diffuse.yaml --schedule off2.yaml --out diffuse --json
msd=$(awk -F, 'NR > 1 {i = NR - 2; x = $2 - i % 25 * 50; y = $3 - int(i / 25) * 50; s += x * x + y * y + $4 * $4}
               END {print s / 600 / 3}' diffuse/final.csv)
narrows check diffuse.yaml --json
claim "spheres without a floor diffuse as Einstein says" near .figures.diffusion_um2_s "$msd / 4" 0.167

# A lone roller at a given gap: check's speed (exact floor functions) and the
# simulated one; rolling_factor scales both.
for factor in 1.0 0.5; do
    scenario true false "$induced" '[[0, 0]]' 20 "rolling_factor: $factor" |
        sed 's/  magnetics/  surface: {gap_um: 0.1}\n  magnetics/' >roll.yaml
    schedule '{mode: rotating, tilt_deg: 90, field_mT: 10, frequency_Hz: 20, heading: 0}' 20 >roll_schedule.yaml
    narrows check roll.yaml --schedule roll_schedule.yaml --json
    speed=$(jq '.figures.legs[0].lone_speed_um_s' <<<"$out")
    narrows run roll.yaml --schedule roll_schedule.yaml --json
    claim "a roller with rolling_factor $factor is as fast as check says" \
        near '.figures.centroid_um[0]' "20 * $speed" 0.01
done

claims_end
