#!/bin/sh
# Makes a folder from which Ragleaf can be installed on a computer without any network:
#   sh docs/make_wheels.sh FOLDER [PYTHON PLATFORM...]
# for this Python and platform, or for another one, as in:
#   sh docs/make_wheels.sh FOLDER 3.11 manylinux_2_28_aarch64 manylinux_2_17_aarch64
# In FOLDER are wheels alone, and requirements.txt, which names each with its SHA-256. Of the
# registry it takes only what docs/wheels.sha256 and docs/build.sha256 name.
set -eu
docs=$(cd "$(dirname "$0")" && pwd)
mkdir "$1"
folder=$(cd "$1" && pwd)
shift
work=$(mktemp -d)
# After a refusal the folder is empty, and goes too.
trap 'rm -rf "$work"; rmdir "$folder" 2>/dev/null || :' EXIT
target=
if [ $# -gt 0 ]; then
  target="--python-version $1"
  shift
  for platform in "$@"; do target="$target --platform $platform"; done
fi
"${PYTHON:-python3}" -m venv "$work/venv"
python=$work/venv/bin/python
# shellcheck disable=SC2086 - the words are meant to be split
sh "$docs/fetch_wheels.sh" "$python" "$docs/wheels.sha256" "$work/fetched" $target
PYTHON=$python sh "$docs/build.sh" "$work/built" >/dev/null
wheel=$(ls "$work"/built/*.whl)
# What is needed of it pip tells, and here it sees nothing but what was fetched.
# shellcheck disable=SC2086
PIP_CONFIG_FILE=/dev/null "$python" -m pip --isolated --disable-pip-version-check download -q \
  --only-binary=:all: $target --no-index --find-links "$work/fetched" -d "$work/wheels" \
  "$wheel[scan,typing]" || {
  echo "${0##*/}: $docs/wheels.sha256 does not name all that is needed. Nothing is kept." >&2
  exit 1
}
mv "$work"/wheels/*.whl "$folder"
cd "$folder"
for file in *.whl; do
  name=${file%%-*}
  rest=${file#*-}
  echo "$name==${rest%%-*} --hash=sha256:$(sha256sum "$file" | cut -c-64)"
done > requirements.txt
du -ch ./*.whl | tail -1
