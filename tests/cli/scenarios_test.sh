# The examples that come with the program are good files.
. "$(dirname "$0")/claims.sh"

for scenario in "$root"/scenarios/*.yaml; do
    name=$(basename "$scenario")
    narrows check "$scenario" --json
    claim "$name is a good scenario" exits 0
    claim "$name asks for a passage: the swarm must reshape" figure .figures.must_reshape
    # Every schedule named after a scenario fits it and its rig.
    for schedule in "$root"/scenarios/schedules/"${name%.yaml}"-*.yaml; do
        [ -e "$schedule" ] || continue
        narrows check "$scenario" --schedule "$schedule" --json
        claim "$(basename "$schedule") fits $name and its rig" exits 0
    done
done

claims_end
