# The command line itself: help, versions, wrong usage.
. "$(dirname "$0")/claims.sh"

narrows --help
claim "--help exits 0" exits 0
claim "--help starts with examples" [ "$(head -n 1 <<<"$out")" = Examples ]
claim "--help complains about nothing" no_complaint

narrows run --help
claim "run --help shows an example first" says "  narrows run scenario.yaml --schedule"

narrows --version
claim "--version tells name and version" [ "$(cut -d' ' -f1 <<<"$out")" = narrows ]

narrows
claim "no command is wrong usage" exits 2
claim "wrong usage leaves stdout empty" silent

narrows chek map.yaml
claim "an unknown command exits 2" exits 2
claim "an unknown command gets a suggestion" complains "did you mean 'check'?"

narrows check map.yaml --jsno
claim "an unknown option exits 2" exits 2
claim "an unknown option gets a suggestion" complains "did you mean '--json'?"

narrows check missing.yaml
claim "a missing file exits 2" exits 2
claim "a missing file is named" complains "missing.yaml"

"$NARROWS" --help >/dev/full 2>"$folder/.err"
status=$?
claim "a full disk behind stdout exits 3" exits 3

claims_end
