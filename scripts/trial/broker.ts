import { mkdirSync, writeFileSync } from 'node:fs';
import { type AddressInfo, createServer, connect as dial, type Server, type Socket } from 'node:net';
import { join } from 'node:path';
import { connectAsync, type MqttClient } from 'mqtt';
import type { Random } from '../fuzz/random.ts';
import { freePort, Running } from './processes.ts';

const BROKER = '/usr/sbin/mosquitto';
const CONNECTION_LIVES_MS = 12_000;
const LATEST_MS = 400;

/** Debian's broker for MQTT 5, and the bad line to it: connections end at any moment, and what passes is late. */
export class TrialBroker {
  quiet = false;
  cuts = 0;
  readonly #random: Random;
  readonly #folder: string;
  readonly #line: Server;
  #running: Running | undefined;
  #port = 0;
  #nth = 0;

  constructor(folder: string, random: Random) {
    this.#folder = folder;
    this.#random = random;
    this.#line = createServer((socket) => this.#join(socket));
  }

  /** Where agents find it: over the bad line. */
  get line(): string {
    return `mqtt://127.0.0.1:${(this.#line.address() as AddressInfo).port}`;
  }

  /** Where it is in truth. */
  get direct(): string {
    return `mqtt://127.0.0.1:${this.#port}`;
  }

  async open(): Promise<void> {
    mkdirSync(this.#folder, { recursive: true });
    this.#port = await freePort();
    const config = `allow_anonymous true\nlistener ${this.#port} 127.0.0.1\n`;
    writeFileSync(join(this.#folder, 'broker.conf'), config);
    await this.start();
    await new Promise<void>((done) => {
      this.#line.listen(0, '127.0.0.1', () => done());
    });
  }

  async start(): Promise<void> {
    this.#nth += 1;
    const log = join(this.#folder, `broker-${this.#nth}.log`);
    const args = ['-c', join(this.#folder, 'broker.conf'), '-v'];
    this.#running = new Running(BROKER, args, { cwd: this.#folder, env: process.env, log });
    await this.#running.says(/ running/);
  }

  /** Kills it without a word; what it retained is gone. */
  async kill(): Promise<void> {
    await this.#running?.end('SIGKILL');
  }

  async close(): Promise<void> {
    this.#line.close();
    await this.kill();
  }

  #join(near: Socket): void {
    const far = dial(this.#port, '127.0.0.1');
    const over = () => {
      near.destroy();
      far.destroy();
    };
    for (const socket of [near, far]) socket.on('error', over).on('close', over);
    near.pipe(far);
    far.on('data', (piece) => this.#later(() => near.destroyed || near.write(piece)));
    if (this.quiet) return;
    const timer = setTimeout(() => {
      if (this.quiet || near.destroyed) return;
      this.cuts += 1;
      over();
    }, this.#random.below(CONNECTION_LIVES_MS));
    near.once('close', () => clearTimeout(timer));
  }

  /** In order, as on one connection: what came first is written first. */
  #waiting: Promise<void> = Promise.resolve();
  #later(write: () => void): void {
    const ms = this.quiet ? 0 : this.#random.below(LATEST_MS);
    this.#waiting = this.#waiting.then(() => new Promise((done) => setTimeout(done, ms))).then(write);
  }
}

/** Somebody with the right to publish who wishes the field ill: old, changed, empty and other messages, again and again. */
export class Stranger {
  readonly #broker: TrialBroker;
  readonly #random: Random;
  readonly #topic: string;
  sent = 0;

  constructor(broker: TrialBroker, classId: string, random: Random) {
    this.#broker = broker;
    this.#random = random;
    this.#topic = `fieldseal/announcement/${classId}`;
  }

  /** `genuine`: announcements that were once made, oldest first. */
  async disturb(genuine: readonly Buffer[]): Promise<void> {
    let client: MqttClient | undefined;
    try {
      client = await connectAsync(this.#broker.direct, {
        protocolVersion: 5,
        connectTimeout: 2000,
        reconnectPeriod: 0,
      });
      for (const message of [...genuine, ...this.#forged(genuine)])
        await client.publishAsync(this.#topic, message, { qos: 1, retain: this.#random.chance(0.5) });
      this.sent += genuine.length;
    } catch {
      // The broker is gone at times.
    } finally {
      await client?.endAsync(true).catch(() => {});
    }
  }

  #forged(genuine: readonly Buffer[]): Buffer[] {
    const changed = genuine.map((message) => {
      const copy = Buffer.from(message);
      copy[this.#random.below(copy.length)]! ^= 1 << this.#random.below(8);
      return copy;
    });
    return [...changed, Buffer.from(this.#random.bytes(300)), Buffer.alloc(0)];
  }
}
