#!/bin/sh
# The command watch as a user meets it: films that come, grow, are bad or were there before.
# usage: test_watch.sh BUILD-FOLDER
set -u
B=$1
. tests/cli/common.sh
pid=""
trap '[ -z "$pid" ] || kill "$pid" 2>/dev/null; rm -rf "$tmp"' EXIT
# waits_for WHAT COMMAND...: until it succeeds, twenty seconds at most
waits_for() {
    what=$1
    shift
    for i in $(seq 100); do
        "$@" >/dev/null 2>&1 && return
        sleep 0.2
    done
    fail "$what: not within twenty seconds"
    cat "$tmp/err"
}
counts() { # N WORDS FILE
    n=$(grep -c -- "$2" "$tmp/$3")
    [ "$n" -eq "$1" ] || { fail "$what: '$2' $n times in $3, not $1"; cat "$tmp/$3"; }
}

# --- usage
wants 64 'no folder' "$cmd" watch
wants 64 'two folders' "$cmd" watch "$tmp" "$tmp"
wants 64 'an option of others' "$cmd" watch --out x "$tmp"
wants 64 'a folder for no record' "$cmd" watch --into x "$tmp"
says 'go with --record' err
wants 66 'no such folder' "$cmd" watch "$tmp/none"
wants 66 'a file for a folder' "$cmd" watch "$demo/first-drill.tif"
[ "$(wc -l <"$tmp/err")" -eq 1 ] || fail 'a file for a folder: not one line'

# --- what is there, once
dir=$tmp/once
mkdir "$dir"
cp "$demo/first-drill.tif" "$demo/four-months.png" "$demo/four-months.sheet.json" "$dir"
echo 'not a film' >"$dir/bad.png"
echo 'a letter' >"$dir/letter.txt"
mkdir "$dir/folder.png"
mkfifo "$dir/pipe.png"
cp "$dir/four-months.sheet.json" "$tmp/before"
cp "$dir/first-drill.tif" "$dir/.hidden.tif"
wants 65 once "$cmd" watch --once --tooth 35 --gauge length=12.0 --gauge across=2.2 --taken 2026-03-02 --record --into "$dir" "$dir"
says 'first-drill.sheet.json' out
says 'first-drill-r01.png' out
says 'bad.png: ' err
says 'four-months.sheet.json is there already' err
counts 0 'letter\|folder.png\|pipe.png\|hidden' err
cmp -s "$dir/four-months.sheet.json" "$tmp/before" || fail 'once: a sheet was replaced'
grep -q '"taken": "2026-03-02"' "$dir/first-drill.sheet.json" || fail 'once: the options are not in the sheet'
grep -q PROPOSED "$dir/first-drill-r01.txt" || fail 'once: the record does not say PROPOSED'
"$cmd" start "$dir/first-drill.tif" --tooth 35 --gauge length=12.0 --gauge across=2.2 --taken 2026-03-02 --out "$dir/other.sheet.json" >/dev/null 2>&1
cmp -s "$dir/first-drill.sheet.json" "$dir/other.sheet.json" || fail 'once: not the sheet that start makes'
rm "$dir/bad.png" "$dir/other.sheet.json"
"$cmd" series --plot "$dir/over-time.png" "$demo/first-drill.sheet.json" "$demo/four-months.sheet.json" >/dev/null 2>&1
cp "$dir/first-drill-r01.png" "$dir/a copy of the record.png"
ls "$dir" >"$tmp/files"
wants 0 'once more' "$cmd" watch --once --record --into "$dir" "$dir"
ls "$dir" | cmp -s - "$tmp/files" || fail 'once more: something was written'
counts 0 'r01' err
wants 0 'once more, in JSON' sh -c 'rm "$2"/first-drill.sheet.json; "$1" watch --once --json --record --into "$2" "$2"' sh "$cmd" "$dir"
[ "$(wc -l <"$tmp/out")" -eq 2 ] || fail "$what: not a line for the sheet and one for the record"
head -1 "$tmp/out" | grep -q '^{"format":"plumbrule-started","version":1,"film":".*/first-drill.tif","sheet":".*/first-drill.sheet.json"}$' ||
    { fail "$what: the sheet is not told"; cat "$tmp/out"; }
tail -1 "$tmp/out" | grep -q '^{"format":"plumbrule-record","version":1,"revision":2,.*first-drill-r02.json"}$' ||
    { fail "$what: the record is not told"; cat "$tmp/out"; }
[ -s "$dir/first-drill.sheet.json" ] || fail "$what: no sheet"
wants 0 'an empty folder' sh -c 'mkdir "$2" && "$1" watch --once "$2"' sh "$cmd" "$tmp/empty"

# --- films that come
dir=$tmp/watched
mkdir "$dir"
cp "$demo/grafted.jpg" "$dir/old.jpg"
"$cmd" watch "$dir" --tooth 35 --gauge length=12.0 --record --into "$tmp/chart" >"$tmp/out" 2>"$tmp/err" &
pid=$!
waits_for 'it says what it does' grep -q 'waiting for films; 1 that are there' "$tmp/err"
head -c 300000 "$demo/first-drill.tif" >"$dir/new.tif" # an export that has not come to its end
for i in 1 2 3 4; do # and keeps growing, faster than two looks
    sleep 0.5
    tail -c +$((300000 * i + 1)) "$demo/first-drill.tif" | head -c 300000 >>"$dir/new.tif"
done
[ ! -e "$dir/new.sheet.json" ] || fail 'a sheet of a film that was not finished'
tail -c +1500001 "$demo/first-drill.tif" >>"$dir/new.tif"
cmp -s "$dir/new.tif" "$demo/first-drill.tif" || fail 'the test did not put the film together'
echo 'not a film' >"$dir/bad.png"
waits_for 'a film that came' test -s "$tmp/chart/new-r01.json"
waits_for 'a bad file' grep -q 'bad.png: ' "$tmp/err"
sleep 3
what='some looks later'
counts 1 'bad.png: ' err
counts 1 'new.sheet.json' out
counts 0 old err
[ ! -e "$dir/old.sheet.json" ] || fail 'a film from before was taken'
cp "$demo/second-drill.png" "$dir/bad.png" # exported again, and whole
waits_for 'a bad file made good' test -s "$dir/bad.sheet.json"
mv "$dir" "$dir.away"
waits_for 'the folder is gone' grep -q 'waiting for it' "$tmp/err"
mv "$dir.away" "$dir"
cp "$demo/four-months.png" "$dir/later.png"
waits_for 'the folder is back' test -s "$dir/later.sheet.json"
kill -TERM $pid
wait $pid
got=$?
pid=""
[ $got -eq 0 ] || fail "SIGTERM: exit $got"
what='the folder is gone'
counts 1 'waiting for it' err
wants 0 SIGINT env --default-signal=INT timeout --preserve-status -k 10 -s INT 2 "$cmd" watch "$dir"
[ -z "$(find "$dir" "$tmp/chart" -name '.plumbrule*')" ] || fail 'something unfinished was left'
exit $bad
