#!/bin/sh
# Makes a folder from which Ragleaf can be installed on a computer without any network:
#   sh docs/make_wheels.sh FOLDER [PYTHON PLATFORM...]
# for this Python and platform, or for another one, as in: 3.11 manylinux_2_28_aarch64 manylinux_2_17_aarch64
# In FOLDER are wheels alone, and requirements.txt, which names each with its SHA-256.
set -eu
folder=$1
shift
source=$(cd "$(dirname "$0")/.." && pwd)
mkdir "$folder"
folder=$(cd "$folder" && pwd)
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
"${PYTHON:-python3}" -m venv "$work/venv"
pip="$work/venv/bin/python -m pip --disable-pip-version-check"
$pip wheel -q --no-deps -w "$folder" "$source"
wheel=$(ls "$folder"/ragleaf-*.whl)
target=
if [ $# -gt 0 ]; then
  target="--python-version $1"
  shift
  for platform in "$@"; do target="$target --platform $platform"; done
fi
# shellcheck disable=SC2086 - the words are meant to be split
$pip download -q --only-binary=:all: $target -d "$folder" "$wheel[scan,typing]"
cd "$folder"
for file in *.whl; do
  name=${file%%-*}
  rest=${file#*-}
  echo "$name==${rest%%-*} --hash=sha256:$(sha256sum "$file" | cut -c-64)"
done > requirements.txt
du -ch ./*.whl | tail -1
