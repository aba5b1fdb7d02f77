#!/usr/bin/env bash
# Runs as root in a freshly made Debian under its own systemd, started by prove_install.sh; sources in /prove.
set -uo pipefail

unit=sentinel.service
install=/prove/systemd/install
password='a password 7f3a91'
bad=0

check() {  # check SENTENCE COMMAND...
    local sentence=$1 output
    shift
    if output=$("$@" 2>&1); then
        printf 'good  %s\n' "$sentence"
    else
        bad=$((bad + 1))
        printf 'BAD   %s\n' "$sentence"
        printf '%s\n' "$output" | tail -n 12 | sed 's/^/      | /'
    fi
}

not() { ! "$@"; }
has() { grep -q -- "$1" <<<"$2"; }
pid() { systemctl show -p MainPID --value $unit; }
is_running() { systemctl is-active --quiet $unit; }
snapshot() {  # everything that the installer could touch: names, modes, owners, times of change
    find /opt /etc/sentinel /etc/systemd /etc/udev /etc/sysusers.d /etc/passwd /etc/group /usr/local/bin \
        -printf '%p %m %U %G %T@ %l\n' 2>/dev/null | grep -v __pycache__ | sort
}
within() {  # within SECONDS COMMAND...: until it holds
    local end=$((SECONDS + $1))
    shift
    until "$@"; do
        [ $SECONDS -lt $end ] || return 1
        sleep 1
    done
}
runs_anew() { is_running && has_process && [ "$(pid)" != "$1" ]; }
has_process() { [ "$(pid)" -gt 1 ]; }  # between two runs it is 0, which kill takes for this script
signal() {  # signal NAME: to the daemon's process, of which $old keeps the number
    within 30 has_process
    old=$(pid)
    kill "-$1" "$old"
}
decode() { printf '%s %s\n' "$(date -u +%Y-%m-%dT%H:%M:%SZ)" "$1" >>/home/pi/decodes/decodes.log; }
status_text() { systemctl show -p StatusText --value $unit; }
says() { has "$1" "$(status_text)"; }
heard_online() {
    mosquitto_sub -h 127.0.0.1 -u sentinel -P "$password" -t 'sentinel/v1/+/status' -C 1 -W 5 | grep -q online
}

# shellcheck source=/dev/null
. /etc/os-release
echo "prove: $PRETTY_NAME, $(systemctl --version | head -n 1)"

echo '--- install'
before=$(snapshot)
check 'a dry run succeeds' $install --dry-run
check 'and changes nothing' [ "$before" = "$(snapshot)" ]
check 'the installer runs' $install
[ $bad = 0 ] || { echo 'prove: without it there is nothing to try'; exit 1; }
check 'a second time too' $install
check "the program answers ($(python3 -V))" sentinel --help
check 'the user is in the groups of its devices' [ "$(id -nG sentinel | tr ' ' '\n' | sort | xargs)" = 'dialout gpio sentinel spi' ]
check 'only root reads the password' [ "$(stat -c '%U %a' /etc/sentinel/mqtt-password)" = 'root 600' ]
check 'the unit is well formed' systemd-analyze verify /etc/systemd/system/$unit
check "exposure: $(systemd-analyze security --offline=true --no-pager /etc/systemd/system/$unit | tail -n 1 | tr -d '→😀🙂')" \
    systemd-analyze security --offline=true --threshold=15 --no-pager /etc/systemd/system/$unit
if udevadm verify --help >/dev/null 2>&1; then
    check 'the rules are well formed' udevadm verify /etc/udev/rules.d/99-sentinel.rules
fi
check 'nothing runs before it is configured' not is_running

echo '--- run'
apt-get install -y -qq --no-install-recommends mosquitto mosquitto-clients >/dev/null 2>&1
printf 'listener 1883 127.0.0.1\nallow_anonymous false\npassword_file /etc/mosquitto/passwords\n' >/etc/mosquitto/conf.d/prove.conf
mosquitto_passwd -b -c /etc/mosquitto/passwords sentinel "$password" 2>/dev/null
chown mosquitto /etc/mosquitto/passwords
systemctl restart mosquitto
useradd --create-home pi && chmod 700 /home/pi
mkdir /home/pi/decodes && touch /home/pi/decodes/decodes.log /home/pi/secret && chmod 644 /home/pi/secret
sed -i -e 's/^#\(\[mqtt\]\|host\|user\|password_file\)/\1/' /etc/sentinel/sentinel.toml
printf '%s\n' "$password" >/etc/sentinel/mqtt-password
check 'the decoder'\''s directory can be let in' $install --decoder-dir /home/pi/decodes
check 'it starts and says that it is ready' systemctl enable --now $unit
is_running || { journalctl -u $unit -n 40 --no-pager; echo 'prove: without it there is nothing to try'; exit 1; }
check 'it publishes with the password that it was handed' within 20 heard_online
decode '-8 0.2 1234 CQ VE1QAA FN84'
check 'it reads the decoder'\''s file below a closed home directory' within 20 says 'Nothing far has been heard'
check 'its status is one line' [ "$(status_text | wc -l)" = 1 ]
check 'the password is in no environment' not grep -qa "$password" "/proc/$(pid)/environ"
check 'nor among the unit'\''s properties' not has "$password" "$(systemctl show $unit)"
check 'it is not root and can gain nothing' grep -qzP 'CapEff:\s+0+\n[\s\S]*NoNewPrivs:\s+1' "/proc/$(pid)/status"
check 'it sees nothing else under /home' not nsenter --target "$(pid)" --mount cat /home/pi/secret
check 'it cannot write outside its own directories' not nsenter --target "$(pid)" --mount --setuid "$(id -u sentinel)" touch /opt/sentinel/x /etc/sentinel/x
check 'its diary or node id is kept in the state directory' [ -n "$(ls -A /var/lib/sentinel)" ]

echo '--- years unattended'
signal KILL
check 'killed, it runs again' within 30 runs_anew "$old"
signal STOP
check 'stuck, the watchdog ends it and it runs again' within 150 runs_anew "$old"
for _ in 1 2 3 4 5 6; do signal KILL; within 30 runs_anew "$old"; done
check 'six crashes in a row do not end it for good' within 30 is_running
systemctl stop mosquitto
old=$(pid)
sleep 75
check 'a broker that is gone does not trip the watchdog' [ "$(pid)" = "$old" ]
systemctl start mosquitto
check 'and is found again' within 90 heard_online

echo '--- again, upgrade, failed upgrades'
old=$(pid) before=$(snapshot)
check 'the installer once more' $install
check 'changes no file' [ "$before" = "$(snapshot)" ]
check 'and does not disturb the watch' [ "$(pid)" = "$old" ]
settings=$(sha256sum /etc/sentinel/* /etc/systemd/system/sentinel.service.d/*)
cp -a /prove /prove.new
sed -i 's/^version = .*/version = "99.0.0"/' /prove.new/pyproject.toml
check 'a newer version installs' /prove.new/systemd/install
check 'it runs' runs_anew "$old"
check 'it is the newer one' has 99.0.0 "$(/opt/sentinel/venv/bin/python -c 'from importlib.metadata import version; print(version("vhf-sentinel"))')"
check 'the older one is gone' [ "$(find /opt/sentinel -maxdepth 1 -name 'release-*' | wc -l)" = 1 ]
check 'configuration, password and drop-in are as they were' [ "$settings" = "$(sha256sum /etc/sentinel/* /etc/systemd/system/sentinel.service.d/*)" ]
old=$(pid) link=$(readlink /opt/sentinel/venv)
echo 'this is no Python' >>/prove.new/sentinel/cli.py
check 'a version that does not run is refused' not /prove.new/systemd/install
check 'and the watch was not disturbed' [ "$(pid) $(readlink /opt/sentinel/venv)" = "$old $link" ]
cp /prove/sentinel/cli.py /prove.new/sentinel/cli.py
echo 'raise SystemExit(1)' >>/prove.new/sentinel/daemon.py
check 'a version that does not start is refused' not /prove.new/systemd/install
check 'and the old one is back' within 30 is_running
check 'by its link too' [ "$(readlink /opt/sentinel/venv)" = "$link" ]

echo '--- mistakes'
rm /etc/sentinel/mqtt-password
check 'without the password file the unit does not start' not systemctl restart $unit
check 'the installer mends that' $install
printf '%s\n' "$password" >/etc/sentinel/mqtt-password
check 'and it starts' within 30 systemctl restart $unit
good=$(mktemp)
cat /etc/sentinel/sentinel.toml >"$good"
echo 'lokator = 1' >>/etc/sentinel/sentinel.toml
systemctl restart $unit
check 'a wrong configuration is not tried again and again' [ "$(systemctl is-failed $unit) $(systemctl show -p ExecMainStatus --value $unit)" = 'failed 2' ]
check 'the journal names the key' has lokator "$(journalctl -u $unit -n 20 --no-pager)"
cat "$good" >/etc/sentinel/sentinel.toml
systemctl restart $unit

echo '--- uninstall'
state=$(find /var/lib/sentinel -type f ! -name '*.png' | sort)
check 'the program is removed' $install --uninstall
check 'the service is gone' not systemctl cat $unit
check 'so is the program' [ ! -e /opt/sentinel -a ! -L /usr/local/bin/sentinel ]
check 'configuration and password stay' [ -s /etc/sentinel/sentinel.toml -a -s /etc/sentinel/mqtt-password ]
check 'what was recorded stays' [ "$state" = "$(find /var/lib/sentinel -type f ! -name '*.png' | sort)" -a -n "$state" ]
check 'removing twice is no error' $install --uninstall
check 'it installs again' $install
check 'and runs with the old configuration' systemctl enable --now $unit

if [ $bad = 0 ]; then echo 'prove: all is well'; else echo "prove: $bad checks are BAD"; journalctl -u $unit -n 40 --no-pager; fi
