#!/bin/sh
# Run once by InfluxDB's image, after its setup: two tokens, each for what its
# holder needs, so that nobody but the administrator holds the one that may do
# everything. deploy/secrets made the files they go to, empty and with their
# owners. InfluxQL needs no more: a bucket answers to its name as a database. The
# image gives INFLUX_HOST, the CLI's configuration and the bucket's id, and
# undoes the setup when this fails.
set -eu

bucket=${DOCKER_INFLUXDB_INIT_BUCKET_ID:?"the image should give the id of the bucket"}

token() { # FILE DESCRIPTION PERMISSION...
  file=$1 description=$2
  shift 2
  made=$(influx auth create --description "$description" "$@" --json |
    sed -n 's/.*"token": *"\([^"]*\)".*/\1/p')
  if [ -z "$made" ]; then
    echo "tokens.sh: influx auth create gave no token for $description" >&2
    exit 1
  fi
  printf '%s\n' "$made" >"$file"
}

token /tokens/coldweek coldweek --read-bucket "$bucket" --write-bucket "$bucket"
token /tokens/grafana grafana --read-bucket "$bucket"
