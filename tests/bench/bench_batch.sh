#!/bin/sh
# Two workers against one, and peak memory of one record. usage: bench_batch.sh BUILD-FOLDER
set -u
B=$1
dir=$(mktemp -d)
trap 'rm -rf "$dir"' EXIT
cp demo-images/* "$dir"
for i in 1 2 3 4; do
    for s in first-drill second-drill before-extraction four-months; do
        cp "$dir/$s.sheet.json" "$dir/$s-$i.sheet.json"
    done
done
wall() { # jobs
    start=$(date +%s%N)
    "$B/plumbrule" record --jobs "$1" "$dir"/*-[1-4].sheet.json --into "$dir/rec$1" >/dev/null 2>&1
    echo $((($(date +%s%N) - start) / 1000000))
}
wall 2 >/dev/null
one=$(wall 1)
two=$(wall 2)
echo "Batch of 16 records: one worker $one ms, two workers $two ms: $(awk "BEGIN { printf \"%.2f\", $two / $one }") of one (wanted 0.55 or less)"
if [ -x /usr/bin/time ]; then
    /usr/bin/time -f '%M' "$B/plumbrule" record "$dir/first-drill.sheet.json" --into "$dir/mem" >/dev/null 2>"$dir/kb"
    awk '{ printf "Peak memory of a record of 1000 x 1350 px: %.1f MiB (wanted 8 bytes a pixel and 24 MiB: %.1f)\n", $1 / 1024, 8 * 1000 * 1350 / 1048576 + 24 }' "$dir/kb"
fi
