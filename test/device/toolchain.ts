/** Whether the device kit can be built and emulated here: compilers, libraries, the emulator, and apt for sources. */
import { existsSync } from 'node:fs';

const COMMANDS = ['make', 'gcc', 'arm-none-eabi-gcc', 'qemu-system-arm', 'apt-get', 'dpkg-source'];
const FILES = ['/usr/include/mbedtls/config.h', '/usr/include/sodium.h'];

/** Whether a command is on the path. */
export const commandPresent = (name: string): boolean =>
  (process.env.PATH ?? '').split(':').some((folder) => existsSync(`${folder}/${name}`));

/** All of it is here. Where it is not, suites of the device kit skip; `npm test` says so, and fails where CI=true. */
export const toolchainPresent = COMMANDS.every(commandPresent) && FILES.every((file) => existsSync(file));
