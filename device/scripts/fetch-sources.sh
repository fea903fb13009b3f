#!/bin/sh
# Fetches the library sources that the emulated Cortex-M3 is built with: Debian source packages at pinned versions, which apt
# verifies against the archive's signature. Nothing of them lies in this repository.
#   fetch-sources.sh FOLDER    unpacks each package to FOLDER/NAME
set -eu

PACKAGES="bearssl=0.6+dfsg.1-3 libsodium=1.0.18-1+deb12u1 mbedtls=2.28.3-1"

folder=$1
mkdir -p "$folder"
cd "$folder"
work=$(pwd)/apt

fail() {
  echo "device: $1" >&2
  echo "device: the emulated Cortex-M3 needs the sources of $PACKAGES, from the Debian archive by apt;" >&2
  echo "device: check the network, that this is Debian, and that dpkg-dev is installed; then run make again" >&2
  exit 1
}

wanted() {
  for package in $PACKAGES; do
    name=${package%%=*}
    [ "$(cat "$name/.version" 2>/dev/null)" = "$package" ] || echo "$package"
  done
}

# A configuration of its own: what the machine installs from, asked for sources, and lists that nobody else reads.
prepare_apt() {
  mkdir -p "$work/lists/partial" "$work/archives/partial" "$work/parts"
  for file in /etc/apt/sources.list.d/*.sources /etc/apt/sources.list.d/*.list /etc/apt/sources.list; do
    grep -q debian "$file" 2>/dev/null || continue
    sed -e 's/^Types:.*/Types: deb-src/' -e 's/^deb /deb-src /' "$file" >"$work/parts/$(basename "$file")"
  done
}

private_apt() {
  apt-get -q \
    -o Dir::Etc::sourcelist=/dev/null -o Dir::Etc::sourceparts="$work/parts" \
    -o Dir::State::lists="$work/lists" -o Dir::Cache="$work" -o Dir::Cache::archives="$work/archives" \
    -o APT::Sandbox::User=root -o APT::Get::List-Cleanup=false "$@"
}

missing=$(wanted)
[ -n "$missing" ] || exit 0
command -v apt-get >/dev/null || fail "there is no apt-get"
command -v dpkg-source >/dev/null || fail "there is no dpkg-source"
prepare_apt
private_apt update >"$work/log" 2>&1 || { cat "$work/log" >&2; fail "apt-get update failed"; }
for package in $missing; do
  name=${package%%=*}
  rm -rf "$name" "$work/source"
  mkdir "$work/source"
  (cd "$work/source" && private_apt source "$package" >>"$work/log" 2>&1) || { tail -5 "$work/log" >&2; fail "$package could not be fetched"; }
  mv "$work/source"/*/ "$name"
  echo "$package" >"$name/.version"
done
