#!/bin/sh
# Builds the wheel and the source archive of Ragleaf, from the same source the same bytes each time:
#   sh docs/build.sh FOLDER
# It takes a Python that has pip, PYTHON or else python3, and of the registry only what
# docs/build.sha256 names.
set -eu
mkdir -p "$1"
folder=$(cd "$1" && pwd)
docs=$(cd "$(dirname "$0")" && pwd)
python=${PYTHON:-python3}
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
sh "$docs/fetch_wheels.sh" "$python" "$docs/build.sha256" "$work/fetched"
"$python" -m pip --disable-pip-version-check install -q --no-deps --no-index \
  --target "$work/backend" "$work"/fetched/*.whl
cd "$docs/.."
# The backend has a date of its own for what it packs. With -S it sees nothing that was installed.
unset SOURCE_DATE_EPOCH
PYTHONPATH=$work/backend "$python" -S -m hatchling build -t sdist -t wheel -d "$folder" 2>&1
