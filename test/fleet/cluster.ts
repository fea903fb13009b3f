import { spawnSync } from 'node:child_process';
import { chownSync, existsSync, mkdtempSync, readdirSync, readFileSync, rmSync } from 'node:fs';
import { createServer } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

const VERSIONS = '/usr/lib/postgresql';
const USER = 'postgres';
const ATTEMPTS = 5;

/** Folder of PostgreSQL's own commands; undefined where they are not installed. */
const COMMANDS = existsSync(VERSIONS)
  ? readdirSync(VERSIONS)
      .sort((a, b) => Number(b) - Number(a))
      .map((version) => join(VERSIONS, version, 'bin'))
      .find((folder) => existsSync(join(folder, 'initdb')))
  : undefined;

export const POSTGRES_PRESENT = COMMANDS !== undefined;
if (!POSTGRES_PRESENT && process.env.CI === 'true') throw new Error('PostgreSQL is not installed');
if (!POSTGRES_PRESENT) console.warn('skipped: PostgreSQL is not installed (Debian: postgresql)');

/** A PostgreSQL server of the tests' own, in a folder and on a port of its own. */
export class Cluster {
  // Not in FIELDSEAL_E2E: another user runs the server, and cannot reach into a folder of root's.
  readonly #folder = mkdtempSync(join(tmpdir(), 'pg-'));
  #port = 0;
  #databases = 0;

  async start(): Promise<void> {
    this.#own();
    const locale = ['--encoding=UTF8', '--locale=C.UTF-8', '--no-sync'];
    this.#command('initdb', '-D', this.#data, '-U', USER, '-A', 'trust', ...locale);
    for (let left = ATTEMPTS; ; left--) {
      this.#port = await freePort();
      try {
        this.#begin();
        return;
      } catch (error) {
        // Somebody else may have taken the port meanwhile.
        if (left === 1) throw error;
      }
    }
  }

  #begin(): void {
    const options = `-c port=${this.#port} -c listen_addresses=127.0.0.1 -c unix_socket_directories=${this.#folder}`;
    this.#command(
      'pg_ctl',
      '-D',
      this.#data,
      '-w',
      '-t',
      '120',
      '-l',
      join(this.#folder, 'log'),
      '-o',
      options,
      'start',
    );
  }

  /** Address of a database that nobody used before. */
  database(): string {
    this.#databases += 1;
    const name = `fleet_${this.#databases}`;
    this.#command('createdb', '-h', '127.0.0.1', '-p', String(this.#port), '-U', USER, name);
    return `postgres://${USER}@127.0.0.1:${this.#port}/${name}`;
  }

  /** Ends it at once, with whatever is under way. */
  kill(): void {
    this.#command('pg_ctl', '-D', this.#data, '-m', 'immediate', '-w', 'stop');
  }

  restart(): void {
    this.kill();
    this.#begin();
  }

  end(): void {
    if (existsSync(join(this.#data, 'postmaster.pid'))) this.kill();
    rmSync(this.#folder, { recursive: true, force: true });
  }

  get #data(): string {
    return join(this.#folder, 'data');
  }

  /** The server refuses to run as root. */
  #own(): void {
    if (process.getuid?.() !== 0) return;
    const [, , uid, gid] = readFileSync('/etc/passwd', 'utf8')
      .split('\n')
      .find((line) => line.startsWith(`${USER}:`))!
      .split(':');
    chownSync(this.#folder, Number(uid), Number(gid));
  }

  #command(name: string, ...args: string[]): void {
    const line = [join(COMMANDS!, name), ...args];
    const [program, ...rest] = process.getuid?.() === 0 ? ['runuser', '-u', USER, '--', ...line] : line;
    const ran = spawnSync(program!, rest, {
      cwd: this.#folder,
      stdio: ['ignore', 'ignore', 'pipe'],
      encoding: 'utf8',
    });
    if (ran.status !== 0) throw new Error(`${name} ended with ${ran.status}: ${ran.stderr}`);
  }
}

function freePort(): Promise<number> {
  return new Promise((resolve) => {
    const server = createServer();
    server.listen(0, '127.0.0.1', () => {
      const { port } = server.address() as { port: number };
      server.close(() => resolve(port));
    });
  });
}
