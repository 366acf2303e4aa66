#!/bin/sh
# Downloads the wheels that a list names, and refuses one that it does not name, or with another
# SHA-256:
#   sh docs/fetch_wheels.sh PYTHON LIST FOLDER [OPTION OF PIP...]
# PYTHON is one that has pip. FOLDER is made, and is gone again after a refusal; nothing of a wheel
# runs here.
set -eu
python=$1
list=$2
folder=$3
shift 3
mkdir "$folder"
refuse() {
  rm -rf "$folder"
  echo "${0##*/}: $1" >&2
  exit 1
}
pins=$(sed -n 's/^[0-9a-f]\{64\}  \([^-]*\)-\([^-]*\)-.*\.whl$/\1==\2/p' "$list" | sort -u)
# shellcheck disable=SC2086 - the words are meant to be split
"$python" -m pip --disable-pip-version-check download -q --no-deps --only-binary=:all: "$@" \
  -d "$folder" $pins || refuse "pip could not get all that $list names."
for path in "$folder"/*; do
  file=${path##*/}
  hash=$(sha256sum "$path" | cut -c-64)
  if grep -qxF "$hash  $file" "$list"; then
    continue
  elif grep -qF "  $file" "$list"; then
    refuse "$file is not the wheel that $list names: its SHA-256 is $hash. Nothing is kept."
  fi
  refuse "$list does not name $file. Nothing is kept; docs/offline.md says how to add a platform."
done
