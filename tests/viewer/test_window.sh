#!/bin/sh
# Drives the real window under Xvfb: the demo film from opening to a filed record, with kill -9 in
# the middle, compared with the generator's truth; then the window's manners.
# usage: test_window.sh BUILD-FOLDER [FOLDER-FOR-PICTURES]
set -u
command=$(cd "$1" && pwd)/plumbrule
pictures=${2:-}
here=$(cd "$(dirname "$0")/../.." && pwd)
film=first-drill.tif
truth=$here/demo-images/first-drill.truth.json
for need in Xvfb xdotool xprop awk; do
    command -v $need >/dev/null || { echo "skipped: window: $need is not installed"; exit 0; }
done
[ -e "$here/demo-images/$film" ] || { echo "skipped: window: no demo film"; exit 0; }
"$command" view --help >/dev/null 2>&1 || { echo "skipped: window: built without it"; exit 0; }

# the font library keeps its tables to the end of the process: no leaks of ours
export ASAN_OPTIONS=detect_leaks=0
export LC_ALL=C.UTF-8
dir=$(mktemp -d)
xvfb="" viewer=""
stop() { [ -z "$1" ] || kill "$1" 2>/dev/null; }
trap 'stop "$viewer"; stop "$xvfb"; rm -rf "$dir"' EXIT
fail() {
    echo "FAILED: $1"
    [ -z "$pictures" ] || import -window root "$pictures/failed.png"
    cat "$dir/out" 2>/dev/null
    exit 1
}

# --- no display: one clear line --------------------------------------------------------------------
env -u DISPLAY "$command" view "$here/demo-images/$film" >"$dir/out" 2>&1
[ $? -eq 69 ] || fail "exit code without a display"
grep -q '^plumbrule: view: no display: ' "$dir/out" || fail "words without a display"
[ "$(wc -l <"$dir/out")" -eq 1 ] || fail "more than one line without a display"

# --- helpers ---------------------------------------------------------------------------------------
mkfifo "$dir/fd"
Xvfb -displayfd 3 -screen 0 1280x800x24 -noreset -nolisten tcp 3>"$dir/fd" >/dev/null 2>&1 &
xvfb=$!
read -r number <"$dir/fd"
export DISPLAY=":$number"
n=0 # the server tells its number a moment before it takes connections on a busy machine
until xdotool getmouselocation >/dev/null 2>&1 || [ $n -ge 100 ]; do
    n=$((n + 1))
    sleep 0.1
done
cp "$here/demo-images/$film" "$dir/"
digest=$(cksum <"$dir/$film")
journal=$dir/first-drill.sheet.json.unsaved
sheet=$dir/first-drill.sheet.json
# the window as it opens on this screen, and the film as it is fitted into it
width=1152 height=720 film_w=1000 film_h=1350 column=268 foot=32

wait_until() { # words, command...: up to 30 s, for a busy machine under a sanitizer
    what=$1
    shift
    n=0
    until "$@" >/dev/null 2>&1; do
        n=$((n + 1))
        [ $n -lt 300 ] || fail "$what"
        kill -0 "$viewer" 2>/dev/null || fail "$what: the window is gone"
        sleep 0.1
    done
}
has_window() {
    window=$(xdotool search --class Plumbrule | head -n 1) && [ -n "$window" ] &&
        xprop -id "$window" WM_STATE _NET_WM_NAME | grep -q "$film"
}
# What the window asks for, read from outside: every step waits for it, none for a time.
foot() { xprop -id "$window" PLUMBRULE_FOOT; }
foot_says() { foot | grep -q -e "$1"; }
wait_foot() { wait_until "the foot says: $1" foot_says "$1"; }
start() {
    "$command" view "$@" >"$dir/out" 2>&1 &
    viewer=$!
    wait_until "the window comes up" has_window
    xdotool windowfocus --sync "$window"
}
actions=0 # keys pressed and clicks made, as a person would
count() { actions=$((actions + $1)); }
key() {
    count $#
    xdotool key --delay 60 "$@"
}
type_in() { # a question that is up, and its answer
    wait_foot "$1"
    count ${#2}
    xdotool type --delay 60 "$2" && key Return
}
confirm() { # what was found
    wait_foot "Found: $1"
    key Return
}
journalled() { grep -q "$1" "$journal"; }
truth_of() { # section mark axis
    awk -v s="\"$1\":" -v m="\"$2\":" -v a="\"$3\":" '
        /^ "/ { in_s = ($1 == s) } /^  "/ { in_m = ($1 == m) }
        in_s && in_m && $1 == a { gsub(",", "", $2); print $2; exit }' "$truth"
}
click() { # film x, film y, in px
    p=$(awk -v x="$1" -v y="$2" -v w=$width -v h=$height -v fw=$film_w -v fh=$film_h -v c=$column -v f=$foot 'BEGIN {
        s = (w - c) / fw; t = (h - f) / fh; if (t < s) s = t
        printf "%d %d", (w - c - s * fw) / 2 + s * (x + 0.5), (h - f - s * fh) / 2 + s * (y + 0.5) }')
    # shellcheck disable=SC2086
    xdotool mousemove --sync $p
    xdotool click 1
    count 1
}
middle() { awk -v a="$1" -v b="$2" 'BEGIN { print (a + b) / 2 }'; }
picture() { [ -z "$pictures" ] || { sleep 0.3; import -window root "$pictures/$1.png"; }; }
root() { # side: two rough clicks a few px off
    wait_foot "Next click: the $1 root"
    click "$(awk -v x="$(middle "$(truth_of "$1" cej x)" "$(truth_of "$1" cej_far x)")" -v n="$2" 'BEGIN { print x + n }')" \
        "$(middle "$(truth_of "$1" cej y)" "$(truth_of "$1" cej_far y)")"
    wait_foot "the apex of the $1 root"
    picture "$1-first-click"
    click "$(truth_of "$1" apex x)" "$(truth_of "$1" apex y)"
}
molar() { # its nearer root, from the middle of its trunk's near half
    wait_foot "Next click: the distal root"
    click 735 350
    wait_foot "the apex of the distal root"
    click "$(truth_of distal apex x)" "$(truth_of distal apex y)"
}
crest() { # side
    wait_foot "Next click: the crest at the $1 root"
    click "$(truth_of "$1" crest x)" "$(truth_of "$1" crest y)"
    confirm "$1 crest"
}
site_and_pin() {
    type_in 'Tooth of the site' 35
    type_in 'Known length' 12.0
    type_in 'Known diameter' 2.2
    wait_foot 'Found: pin'
    picture pin-found
    confirm pin
}

# --- who reads only the screen: from the film to the record, counted ----------------------------------
# 2 s for each key or click, and two minutes for all of it
mkdir "$dir/first" && cp "$dir/$film" "$dir/first/"
start "$dir/first/$film"
picture opened
site_and_pin
root mesial 4
confirm 'mesial root'
molar
confirm 'distal root'
crest mesial
crest distal
wait_foot 'needed steps are done'
key r
type_in 'Film taken on' 2026-03-02
wait_foot 'Stage'
key Escape
wait_until "the first user's record" test -e "$dir/first/record/first-drill-r01.json"
picture first-user
echo "a first user: $actions keys and clicks from the film to the record"
[ "$actions" -le 60 ] || fail "$actions keys and clicks: more than two minutes"
key q
wait "$viewer"
[ $? -eq 0 ] || fail "closing with nothing unsaved"
start "$dir/first/first-drill.sheet.json"
wait_foot 'needed steps are done'
key r
wait_until "the record of a sheet" test -e "$dir/first/record/first-drill-r02.json"

# --- a second window keeps off ---------------------------------------------------------------------------
"$command" view "$dir/first/$film" >"$dir/out2" 2>&1
[ $? -eq 74 ] || fail "a second window on one film"
grep -q 'open in another window' "$dir/out2" || fail "words of a second window"
key q
wait "$viewer"

# --- kill -9 in the middle ---------------------------------------------------------------------------------
start "$dir/$film"
site_and_pin
root mesial 4
wait_foot 'Found: mesial root'
wait_until "the mesial root is journalled" journalled '"near"'
picture mesial-root
kill -9 "$viewer"
wait "$viewer" 2>/dev/null
[ -e "$journal" ] || fail "the journal after kill -9"
[ ! -e "$sheet" ] || fail "a sheet nobody saved"
start "$dir/$film"
wait_foot 'Unsaved work'
picture journal-offered
key y
confirm 'mesial root'

# --- the rest of the work ----------------------------------------------------------------------------
molar
wait_foot 'Found: distal root'
picture distal-root
confirm 'distal root'
crest mesial
crest distal
wait_foot 'needed steps are done'
picture crests
key 8
wait_foot "Next click: the mesial tooth's CEJ"
click "$(truth_of mesial cej x)" "$(truth_of mesial cej y)"
wait_foot "Next click: the distal tooth's CEJ"
click "$(truth_of distal cej x)" "$(truth_of distal cej y)"
wait_foot 'needed steps are done'
picture done
key s
wait_until "the sheet is saved" test -e "$sheet"
wait_until "the journal is gone" test ! -e "$journal"
key r
wait_foot 'Film taken on'
key Escape
wait_until "the record is filed" test -e "$dir/record/first-drill-r01.json"
picture recorded
[ "$(cksum <"$dir/$film")" = "$digest" ] || fail "the film was written to"

# --- against the truth: every value that the generator knows lies within twice its U ------------------
"$command" measure --csv "$sheet" >"$dir/csv" 2>/dev/null || fail "measure"
awk '/^  "/ { id = $1; gsub(/[":]/, "", id) } /^   "film":/ { gsub(",", "", $2); print id, $2 }' "$truth" >"$dir/true"
# the molar's far side begins at the furcation, below its CEJ: its axis is the midline, and so is the truth
lean() { # section list: degrees from the vertical towards mesial, which is left in this film
    awk -v s="\"$1\":" -v m="\"$2\":" '
        /^ "/ { in_s = ($1 == s) } /^  "/ { in_m = ($1 == m) }
        in_s && in_m && ($1 == "\"x\":" || $1 == "\"y\":") { gsub(",", "", $2); v[n++] = $2 }
        END { print atan2(v[0] - v[2], v[3] - v[1]) * 57.29577951 }' "$truth"
}
grep -v '^angle\.\(distal\|mean\|roots\) ' "$dir/true" >"$dir/true.chord"
echo "angle.distal $(awk -v p="$(lean pin axis)" -v r="$(lean distal midline)" 'BEGIN { print p - r }')" |
    cat - "$dir/true.chord" >"$dir/true"
awk -F'[ ,]' -v OFS=' ' 'NR == FNR { want[$1] = $2; next }
    { gsub("\r", "") } FNR > 1 { split($0, c, ","); id = c[4]; if (id in want) {
        n++; d = c[5] - want[id]; if (d < 0) d = -d
        if (d > 2 * c[6]) { print id, c[5], "+-", c[6], "but truly", want[id]; bad++ } } }
    END { print n, "values compared"; exit !(n >= 8 && bad == 0) }' "$dir/true" "$dir/csv" >"$dir/compared" ||
    { cat "$dir/compared"; fail "values against the truth"; }
cat "$dir/compared"

# --- idle uses no processor time: a window at rest comes to two equal readings -------------------------
ticks() { awk '{ print $14 + $15 }' "/proc/$viewer/stat"; }
at_rest() {
    before=$(ticks)
    sleep 1
    [ "$(ticks)" -eq "$before" ]
}
wait_until "the idle window uses no processor time" at_rest

# --- paste and dead keys, in a question ------------------------------------------------------------------
shown() { # the text being typed is seen in the sheet once it is answered
    key Return
    wait_until "answered: $1" journalled "$1"
}
if command -v xclip >/dev/null; then
    key p # the planned length: a number
    wait_foot 'Planned length'
    key ctrl+u
    printf 'eleven' | xclip -selection clipboard 2>/dev/null
    key ctrl+v
    wait_foot 'Not pasted: a number'
    printf '11.5\n' | xclip -selection clipboard 2>/dev/null
    key ctrl+v
    wait_foot ': 11.5'
    key Return
    wait_foot 'Planned diameter'
    key ctrl+u
    head -c 3000000 /dev/zero | tr '\0' 1 | xclip -selection primary 2>/dev/null # in pieces
    key shift+Insert
    wait_foot 'Not pasted: longer'
    printf '4.1' | xclip -selection primary 2>/dev/null
    key shift+Insert
    wait_foot ': 4.1'
    shown '"length_mm": 11.5, "diameter_mm": 4.1'
    wait_foot 'stands on: pin or bisector: pin'
    key Return
else
    echo "skipped: window: paste: xclip is not installed"
fi
key 0
wait_foot "Roots of the site"
key Return
wait_foot "Facial plate"
key dead_diaeresis u
wait_foot ': ü'
shown '"facial_plate": "ü"'
key Escape

# --- closing with unsaved work asks once; a lost connection keeps the journal ---------------------------
xprop -id "$window" WM_CLASS WM_PROTOCOLS _NET_WM_NAME WM_NORMAL_HINTS >"$dir/manners"
for word in Plumbrule WM_DELETE_WINDOW "$film" 'minimum size'; do
    grep -q "$word" "$dir/manners" || fail "manners: $word"
done
key Tab Right
wait_until "the nudge is journalled" test -e "$journal"
key q
wait_foot 'Not saved yet'
picture closing
kill -0 "$viewer" || fail "closing with unsaved work does not ask"
kill "$xvfb"
wait "$viewer"
code=$?
viewer="" xvfb=""
[ $code -eq 74 ] || fail "exit code $code after the display went away"
grep -q 'unsaved work is kept' "$dir/out" || fail "words after the display went away"
[ -e "$journal" ] || fail "the journal after the display went away"
echo "window: driven from the film to the record"
