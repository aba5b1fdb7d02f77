#!/usr/bin/env bash
# Proves systemd/install and the unit on a real Debian with a real systemd, in a container made for it.
#
#     sudo tests/tools/prove_install.sh [--base DIR] [SUITE [MIRROR]]
#
# SUITE is bookworm (the default; what Raspberry Pi OS 12 is made from) or trixie. It needs debootstrap,
# systemd-nspawn, a network for apt and pip, and some ten minutes. --base DIR takes a root that debootstrap has made
# already. What is done inside stands in prove_install_inside.sh; this script only makes, boots and removes the container.
# Exits 0 when everything that could be tried was as it should be. No Pi hardware takes part.
set -euo pipefail

base=''
if [ "${1-}" = --base ]; then base=$2; shift 2; fi
suite=${1:-bookworm} mirror=${2:-http://deb.debian.org/debian}
source_dir=$(cd "$(dirname "$(readlink -f "$0")")/../.." && pwd)
parts=systemd,systemd-sysv,udev,dbus,ca-certificates,python3
limit_s=1800

[ "$(id -u)" = 0 ] || { echo "prove_install: only root can make a container; use sudo" >&2; exit 1; }
for tool in debootstrap systemd-nspawn; do
    command -v "$tool" >/dev/null || { echo "prove_install: $tool is missing; install it first" >&2; exit 1; }
done

work=$(mktemp -d)
trap 'rm -rf --one-file-system "$work"' EXIT
root=$work/root
if [ -n "$base" ]; then
    cp -a "$base" "$root"
else
    debootstrap --variant=minbase --include="$parts" "$suite" "$root" "$mirror" >"$work/debootstrap.log" \
        || { tail -n 5 "$work/debootstrap.log" >&2; exit 1; }
fi

mkdir "$root/prove"
(cd "$source_dir" && cp -R pyproject.toml README.md LICENSE sentinel systemd config "$root/prove/")
cp "$source_dir/tests/tools/prove_install_inside.sh" "$root/prove/inside"
cat >"$root/etc/systemd/system/prove.service" <<'UNIT'
[Unit]
After=multi-user.target
[Service]
Type=oneshot
Environment=HOME=/root
EnvironmentFile=-/prove/environment
ExecStart=/bin/bash /prove/inside
ExecStopPost=/bin/sh -c 'systemctl --no-block poweroff 2>/dev/null'
StandardOutput=append:/prove/log
StandardError=append:/prove/log
[Install]
WantedBy=multi-user.target
UNIT
sed -i s/multi-user/default/ "$root/etc/systemd/system/prove.service"
systemctl --root="$root" enable prove.service 2>/dev/null
# a network with certificates or package indexes of its own
{ env | grep -E '^PIP_' || true; echo PIP_CERT=/etc/ssl/certs/ca-certificates.crt; } >"$root/prove/environment"
cp -L /etc/ssl/certs/ca-certificates.crt "$root/etc/ssl/certs/ca-certificates.crt"

touch "$root/prove/log"
# cgroup v2 where the container's systemd knows nothing else
SYSTEMD_NSPAWN_UNIFIED_HIERARCHY=$([ "$suite" = bookworm ] && echo 0 || echo 1) \
    timeout "$limit_s" systemd-nspawn --quiet --directory="$root" --register=no --keep-unit --boot \
    </dev/null >"$work/console.log" 2>&1 || true
cat "$root/prove/log"
if ! grep -q '^prove: all is well' "$root/prove/log"; then
    echo "prove_install: not everything is well on $suite; the console's last lines:" >&2
    tail -n 15 "$work/console.log" >&2
    exit 1
fi
