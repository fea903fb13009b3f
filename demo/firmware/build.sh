#!/bin/sh
# Builds the demo firmware into a folder (default: this one): build.sh [FOLDER]
# The same compiler gives the same bytes wherever the folder lies. With KEEP_ELF=1 the ELF files stay too.
set -eu
sources=$(cd "$(dirname "$0")" && pwd)
out=${1:-$sources}
mkdir -p "$out"
cd "$out"

# build NAME MODEL VERSION ENDING FORMAT
build() {
  elf=$1-$3.elf
  minor=${3#*.}
  minor=${minor%.*}
  arm-none-eabi-gcc -mcpu=cortex-m3 -mthumb -std=c99 -Os -ffreestanding -nostdlib \
    -fno-tree-loop-distribute-patterns -ffunction-sections -fdata-sections \
    -Wall -Wextra -Werror -Wconversion -pedantic \
    -ffile-prefix-map="$sources"=. -DFIRMWARE_NAME="\"Hollin Ridge $2 $1\"" \
    -DFIRMWARE_VERSION="\"$3\"" -DFIRMWARE_MINOR="$minor" \
    -T "$sources/firmware.ld" -Wl,--gc-sections -Wl,--build-id=none -Wl,-z,max-page-size=256 \
    "$sources/startup.c" "$sources/$1.c" "$sources/$1_control.c" -o "$elf"
  arm-none-eabi-objcopy -O "$5" "$elf" "$1-$3.$4"
  chmod 644 "$1-$3.$4"
  [ "${KEEP_ELF:-0}" = 1 ] || rm "$elf"
}

build vent VC-2 1.4.0 hex ihex
build vent VC-2 1.5.0 hex ihex
build dosing DC-1 2.1.0 srec srec
