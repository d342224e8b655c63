# What the whole-command tests share: source it, make claims, end with `claims_end`.
#
# A claim runs the program and looks at what it did; one TAP line each on stdout.
# $NARROWS is the program; each script works in an empty folder of its own.

: "${NARROWS:?the program to test}"
root=$(cd "$(dirname "${BASH_SOURCE[0]}")/../.." && pwd)
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
cd "$folder" || exit 1
failures=0

# Runs the program: status, out and err hold what came of it.
narrows() {
    "$NARROWS" "$@" >"$folder/.out" 2>"$folder/.err"
    status=$?
    out=$(cat "$folder/.out")
    err=$(cat "$folder/.err")
}

# Whether the program $pid catches the interrupt by now (bit 1 of the mask: SIGINT).
listens() {
    local mask
    mask=$(awk '/^SigCgt/ {print $2}' "/proc/$pid/status" 2>/dev/null) && [ -n "$mask" ] &&
        [ $((0x$mask & 2)) != 0 ]
}

# stopped SIGNAL CONDITION ARGUMENT...: runs the program and sends it the signal
# when the condition holds, however slow the machine is; then as `narrows`. The
# signal comes twice, as from wrappers that send it to a process and to its group.
stopped() {
    local signal=$1 condition=$2 pid
    shift 2
    "$NARROWS" "$@" >"$folder/.out" 2>"$folder/.err" &
    pid=$!
    until eval "$condition" || ! kill -0 "$pid" 2>/dev/null; do sleep 0.05; done
    kill -s "$signal" "$pid" 2>/dev/null && sleep 0.01 && kill -s "$signal" "$pid" 2>/dev/null
    wait "$pid" 2>/dev/null
    status=$?
    out=$(cat "$folder/.out")
    err=$(cat "$folder/.err")
}

# claim "text" CONDITION...: the condition is a command that succeeds.
claim() {
    local text=$1
    shift
    if "$@"; then
        echo "ok - $text"
    else
        echo "not ok - $text"
        echo "# $text: exit status $status" >&2
        head -c 2000 "$folder/.out" "$folder/.err" >&2
        failures=$((failures + 1))
    fi
}

exits() { [ "$status" = "$1" ]; }
says() { grep -qF -- "$1" <<<"$out"; }
complains() { grep -qF -- "$1" <<<"$err"; }
silent() { [ -z "$out" ]; }
no_complaint() { [ -z "$err" ]; }
# Progress is told of work that takes some seconds, which on a slow machine is any.
only_progress() { ! grep -qvE '^([a-z]+: [0-9.]+ .*)?$' <<<"$err"; }
# figure JQ_EXPRESSION: true of the JSON on stdout.
# jq finds no fault with no JSON at all, hence the first condition.
figure() { [ -n "$out" ] && jq -e "$1" <<<"$out" >/dev/null; }
# near JQ_PATH VALUE TOLERANCE: a figure within a relative tolerance of a value.
near() { figure "($1) as \$x | ($2) as \$y | (\$x - \$y | fabs) <= $3 * (\$y | fabs)"; }

claims_end() { [ "$failures" = 0 ]; }
