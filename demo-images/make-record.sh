#!/bin/sh
# Makes the record of the demo sheets and says where it lies. usage: make-record.sh COMMAND [NAME]
set -eu
command=$1
into=record
here=$(dirname "$0")
if [ $# -gt 1 ]; then
    "$command" record "$here/$2.sheet.json" --into "$into" >"$into.log" 2>&1 || { cat "$into.log"; rm -f "$into.log"; exit 1; }
    text=$(grep '\.txt$' "$into.log")
    cat "$text"
    echo
    echo "The record lies here:"
    grep "^$into/" "$into.log" | sed 's/^/  /'
    rm -f "$into.log"
else
    "$command" record "$here"/*.sheet.json --into "$into"
fi
