#!/bin/sh
# Launch and redraw time of the window under Xvfb at 1600 x 1000, with a demo film and with one of
# 6000 x 8000 px. usage: bench_view.sh BUILD-FOLDER
set -u
B=$1
film=demo-images/first-drill.tif
bench=$B/tests/bench/bench_view
[ -x "$bench" ] || { echo "skipped: window: built without it"; exit 0; }
command -v Xvfb >/dev/null || { echo "skipped: window: Xvfb is not installed"; exit 0; }
dir=$(mktemp -d)
xvfb=""
trap '[ -z "$xvfb" ] || kill "$xvfb" 2>/dev/null; rm -rf "$dir"' EXIT
mkfifo "$dir/fd"
Xvfb -displayfd 3 -screen 0 1600x1000x24 -noreset -nolisten tcp 3>"$dir/fd" >/dev/null 2>&1 &
xvfb=$!
read -r number <"$dir/fd"
cp "$film" "$dir/film.tif"
big=""
if command -v convert >/dev/null; then
    convert "$film" -resize '6000x8000!' -depth 16 -quality 11 "$dir/big.png" 2>/dev/null && big=$dir/big.png
fi
echo "window, under Xvfb"
DISPLAY=":$number" "$bench" "$B/plumbrule" "$dir/film.tif" $big
