// What `npm test` and `npm run demo` need before they can begin, so that each works as the first command on a clone.
import { execFileSync, spawnSync } from 'node:child_process';
import { existsSync, readFileSync } from 'node:fs';

/** Installs the npm packages where they are absent or older than the lock file. */
export function prepareNpm() {
  if (existsSync('node_modules/.package-lock.json') && lockIsInstalled()) return;
  console.log('installing npm packages (npm ci) ...');
  execFileSync('npm', ['ci', '--no-audit', '--no-fund'], { stdio: ['ignore', 'ignore', 'inherit'] });
}

function lockIsInstalled() {
  const wanted = JSON.parse(readFileSync('package-lock.json', 'utf8')).packages;
  const present = JSON.parse(readFileSync('node_modules/.package-lock.json', 'utf8')).packages;
  return Object.entries(wanted).every(
    ([path, entry]) => path === '' || entry.optional || present[path]?.version === entry.version,
  );
}

/** The Debian packages that end-to-end suites drive, by the command or file that shows them present. */
const DEBIAN_PARTS = [
  { name: 'python3', shows: 'python3', for: 'building pkcs11js and better-sqlite3' },
  { name: 'make', shows: 'make', for: 'building pkcs11js and better-sqlite3' },
  { name: 'g++', shows: 'g++', for: 'building pkcs11js and better-sqlite3' },
  { name: 'git', shows: 'git', for: 'what a clone of a workspace carries' },
  { name: 'openssl', shows: 'openssl', for: 'judging keys, chains and signatures' },
  { name: 'gnutls-bin', shows: 'certtool', for: 'a second judge of certificates, lists, requests and keys' },
  { name: 'softhsm2', shows: '/usr/bin/softhsm2-util', for: 'the token suites' },
  { name: 'opensc', shows: 'pkcs11-tool', for: 'a second opinion on the token' },
  { name: 'srecord', shows: 'srec_cat', for: 'judging HEX and S-record readers' },
  { name: 'xdelta3', shows: 'xdelta3', for: 'judging deltas' },
  { name: 'zsh', shows: 'zsh', for: 'completion in that shell' },
  { name: 'fish', shows: 'fish', for: 'completion in that shell' },
  { name: 'gcc', shows: 'gcc', for: 'compiling the provisioning header as C99' },
  { name: 'libc6-dev', shows: '/usr/include/stdint.h', for: 'compiling the provisioning header as C99' },
  { name: 'default-jdk-headless', shows: 'javac', for: 'judging HSS/LMS both ways' },
  { name: 'libbcprov-java', shows: '/usr/share/java/bcprov.jar', for: 'judging HSS/LMS both ways' },
  { name: 'binutils-arm-none-eabi', shows: 'arm-none-eabi-objcopy', for: 'judging image readers' },
  { name: 'gcc-arm-none-eabi', shows: 'arm-none-eabi-gcc', for: 'building the demo firmware again' },
  { name: 'libmbedtls-dev', shows: '/usr/include/mbedtls/config.h', for: 'the device kit on the host' },
  { name: 'libsodium-dev', shows: '/usr/include/sodium.h', for: 'Ed25519 of the device kit on the host' },
  {
    name: 'libnewlib-arm-none-eabi',
    shows: '/usr/lib/arm-none-eabi/newlib/thumb/v7-m/nofp/libc_nano.a',
    for: 'the device kit on a Cortex-M3',
  },
  { name: 'qemu-system-arm', shows: 'qemu-system-arm', for: 'the device kit on an emulated Cortex-M3' },
  { name: 'dpkg-dev', shows: 'dpkg-source', for: 'the library sources of the emulated Cortex-M3' },
  { name: 'cppcheck', shows: 'cppcheck', for: 'a second look at the C of the device kit' },
  { name: 'clang', shows: 'clang', for: 'fuzzing the device kit' },
  {
    name: 'libclang-rt-14-dev',
    shows: '/usr/lib/clang/14/lib/linux/libclang_rt.fuzzer-x86_64.a',
    for: 'fuzzing the device kit',
  },
  { name: 'mosquitto', shows: '/usr/sbin/mosquitto', for: 'announcing over MQTT against a real broker' },
  { name: 'postgresql', shows: '/usr/bin/pg_createcluster', for: 'the fleet store on PostgreSQL' },
  { name: 'chromium', shows: '/usr/bin/chromium', for: 'the desk as its users see it' },
  {
    name: 'firmware-microbit-micropython',
    shows: '/usr/share/firmware-microbit-micropython/firmware.hex',
    for: 'a real firmware file',
  },
  {
    name: 'opensbi',
    shows: '/usr/lib/riscv64-linux-gnu/opensbi/generic/fw_jump.elf',
    for: 'a real 64-bit ELF file',
  },
];

/** What only the long proof of the device kit needs, beside the others. */
export const PROOF_PARTS = [
  {
    name: 'frama-c-base',
    shows: 'frama-c',
    for: 'proving that no input makes the device kit read where it must not',
  },
];

/**
 * Installs the missing Debian packages, and `more`, where this is Debian and root. Returns the names that are still
 * missing; their suites skip, loudly, or fail where CI=true.
 */
export function prepareDebian(more = []) {
  const wanted = [...DEBIAN_PARTS, ...more];
  let missing = absentOf(wanted);
  if (missing.length > 0 && process.getuid?.() === 0 && existsSync('/etc/debian_version')) {
    console.log(`installing Debian packages: ${missing.map((part) => part.name).join(' ')} ...`);
    const apt = (...args) =>
      spawnSync('apt-get', ['-o', 'DPkg::Lock::Timeout=600', '-qq', ...args], {
        stdio: ['ignore', 'ignore', 'inherit'],
        env: { ...process.env, DEBIAN_FRONTEND: 'noninteractive' },
      });
    apt('update');
    apt('install', '-y', '--no-install-recommends', ...missing.map((part) => part.name));
    missing = absentOf(wanted);
  }
  return missing;
}

function absentOf(parts) {
  return parts.filter((part) => !isPresent(part.shows));
}

function isPresent(shows) {
  if (shows.startsWith('/')) return existsSync(shows);
  return (process.env.PATH ?? '').split(':').some((folder) => existsSync(`${folder}/${shows}`));
}
