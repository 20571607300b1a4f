#!/bin/sh
# Makes the secrets of compose.yaml once, each of 192 random bits, readable by you only; never over existing ones.
set -eu
cd "${1:-$(dirname "$0")}"
umask 077
mkdir -p secrets
for name in influx_password influx_token grafana_password; do
    [ -e "secrets/$name" ] || od -An -N24 -tx1 /dev/urandom | tr -d ' \n' >"secrets/$name"
done
[ -e secrets/grafana.env ] || printf 'INFLUX_TOKEN=%s\n' "$(cat secrets/influx_token)" >secrets/grafana.env
