import { type ChildProcess, execFileSync, spawn } from 'node:child_process';
import { once } from 'node:events';
import { mkdtempSync, writeFileSync } from 'node:fs';
import { type AddressInfo, createServer } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

/** Debian's broker for MQTT 5, with users, rights and TLS; it keeps nothing between its runs. */
export class TestBroker {
  readonly folder = mkdtempSync(join(process.env.FIELDSEAL_E2E ?? tmpdir(), 'broker-'));
  readonly ca = join(this.folder, 'ca.pem');
  readonly passwords = { announcer: 'tells the vents', unit: 'hears the vents' };
  #child: ChildProcess | undefined;
  #ports: readonly [number, number] = [0, 0];

  /** Address without TLS. */
  get plain(): string {
    return `mqtt://127.0.0.1:${this.#ports[0]}`;
  }

  /** Address with TLS. */
  get tls(): string {
    return `mqtts://127.0.0.1:${this.#ports[1]}`;
  }

  async prepare(): Promise<void> {
    this.#ports = await twoFreePorts();
    writeFileSync(
      join(this.folder, 'users'),
      Object.entries(this.passwords)
        .map((pair) => `${pair.join(':')}\n`)
        .join(''),
    );
    execFileSync('mosquitto_passwd', ['-U', join(this.folder, 'users')]);
    writeFileSync(
      join(this.folder, 'rights'),
      'user announcer\ntopic write fieldseal/#\n\nuser unit\ntopic read fieldseal/#\n',
    );
    this.#certify();
    const path = (name: string) => join(this.folder, name);
    writeFileSync(
      path('broker.conf'),
      `user root
allow_anonymous false
password_file ${path('users')}
acl_file ${path('rights')}
listener ${this.#ports[0]} 127.0.0.1
listener ${this.#ports[1]} 127.0.0.1
certfile ${path('broker.pem')}
keyfile ${path('broker.key')}
`,
    );
  }

  #certify(): void {
    const openssl = (line: string) =>
      execFileSync('openssl', line.split(' '), { cwd: this.folder, stdio: 'ignore' });
    const key = '-newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes';
    openssl(`req -x509 ${key} -keyout ca.key -out ca.pem -subj /CN=Hollin-Ridge-test-CA -days 30`);
    openssl(`req ${key} -keyout broker.key -out broker.csr -subj /CN=127.0.0.1`);
    writeFileSync(join(this.folder, 'names'), 'subjectAltName=IP:127.0.0.1\n');
    openssl(
      'x509 -req -in broker.csr -CA ca.pem -CAkey ca.key -CAcreateserial -extfile names -out broker.pem -days 30',
    );
  }

  /** Starts it, until it listens. */
  async start(): Promise<void> {
    const child = spawn('/usr/sbin/mosquitto', ['-c', join(this.folder, 'broker.conf'), '-v'], {
      stdio: ['ignore', 'ignore', 'pipe'],
    });
    this.#child = child;
    let told = '';
    await new Promise<void>((resolve, reject) => {
      child.stderr.on('data', (piece) => {
        told += piece;
        if (told.includes(' running')) resolve();
      });
      child.once('exit', (status) => reject(new Error(`the broker ended with ${status}: ${told}`)));
    });
  }

  /** Kills it without a word. */
  async kill(): Promise<void> {
    const child = this.#child;
    if (!child || child.exitCode !== null || child.signalCode !== null) return;
    const ended = new Promise((resolve) => child.once('exit', resolve));
    child.kill('SIGKILL');
    await ended;
  }
}

/** Two that differ: neither is given back before both are known. */
async function twoFreePorts(): Promise<[number, number]> {
  const servers = [createServer(), createServer()];
  for (const server of servers) await once(server.listen(0, '127.0.0.1'), 'listening');
  const [plain, tls] = servers.map((server) => (server.address() as AddressInfo).port);
  for (const server of servers) await once(server.close(), 'close');
  return [plain!, tls!];
}
