#!/bin/sh
# Prints the accuracy, coverage and speed tables. usage: run.sh BUILD-FOLDER
# BENCH_FILMS: films a style (default 200). BENCH_SEED: first seed. BENCH_JOBS: processes of the
# coverage on films (default 1).
set -u
B=$1
films=${BENCH_FILMS:-200}
seed=${BENCH_SEED:-1}
for b in "$B"/tests/bench/bench_*; do
    [ -x "$b" ] && [ ! -d "$b" ] || continue
    case "$b" in
    *.o | *.d) continue ;;
    *bench_view) continue ;; # by its script, under a display of its own
    *bench_record) "$b" "$B/plumbrule" ;;
    *bench_register) "$b" "$((films / 10))" "$seed" ;; # two films a pair, six kinds
    *bench_coverage) "$b" 2000 "$seed" "$films" ;;
    *) "$b" "$films" "$seed" ;;
    esac
    echo
done
for s in tests/bench/bench_*.sh; do
    [ -e "$s" ] || continue
    sh "$s" "$B"
    echo
done
