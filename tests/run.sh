#!/bin/sh
# Runs every test program and shell test of one build folder. usage: run.sh BUILD-FOLDER TEST...
set -u
B=$1
shift
good=0 bad=0
log=$B/test.log
run() { # name, command...
    name=$1
    shift
    if "$@" >"$log" 2>&1; then
        good=$((good + 1))
        grep -hE '\[ *SKIPPED *\]|^skipped:' "$log" | sort -u
    else
        bad=$((bad + 1))
        echo "FAILED: $name"
        cat "$log"
    fi
}
export CMOCKA_MESSAGE_OUTPUT=stdout
export LSAN_OPTIONS="suppressions=$PWD/tests/lsan.supp:print_suppressions=0"
for t in "$@"; do
    run "$t" "$t"
done
for s in tests/*/test_*.sh; do
    [ -e "$s" ] || continue
    run "$s" sh "$s" "$B"
done
echo "$B: $good passed, $bad failed"
echo "$good passed, $bad failed"
[ $bad -eq 0 ]
