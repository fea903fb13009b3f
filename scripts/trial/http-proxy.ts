import { createHash } from 'node:crypto';
import {
  Agent,
  request as ask,
  createServer,
  type IncomingMessage,
  type Server,
  type ServerResponse,
} from 'node:http';
import type { AddressInfo } from 'node:net';
import { setTimeout as pause } from 'node:timers/promises';
import type { Random } from '../fuzz/random.ts';

const ON_THE_WAY = ['lost', 'answer-lost', 'twice', 'late', 'overtaken', 'cut'] as const;
export const HOSTILE = [
  'flipped',
  'shorter',
  'of-another-release',
  'endless',
  'old-announcement',
  'no-such-thing',
] as const;
export type HttpFault = (typeof ON_THE_WAY)[number] | (typeof HOSTILE)[number];

/** Of a hundred messages so many meet a fault on the way. */
const FAULTY = 0.25;
const LATEST_MS = 1500;
const OVERTAKEN_MS = 6000;
const MOST_CAPTURED = 2000;

interface Message {
  readonly method: string;
  readonly path: string;
  readonly headers: Record<string, string>;
  readonly body: Buffer;
}

interface Answer {
  readonly status: number;
  readonly headers: NodeJS.Dict<string | string[]>;
  readonly body: Buffer;
}

/**
 * Stands between agents and the server: loses, doubles, delays and cuts what passes, lets requests be overtaken, and at times
 * answers as a hostile depot. What the server itself acknowledged is written down, whether or not the agent hears of it.
 */
export class HttpProxy {
  /** Nothing is disturbed any more. */
  quiet = false;
  /** Every file and announcement is a lie. */
  hostile = false;
  readonly met = new Map<HttpFault, number>();
  /** Milliseconds that the server took for each request. */
  readonly took: number[] = [];
  /** Reports that the server said it has. */
  readonly acknowledged = new Set<string>();
  /** How often it had no room. */
  full = 0;
  /** Reports as they passed, for whoever wants to send them again. */
  readonly captured: Buffer[] = [];
  readonly #random: Random;
  readonly #agent = new Agent({ keepAlive: true, maxSockets: 128 });
  readonly #server: Server;
  readonly #files = new Map<string, Buffer>();
  /** Announcements as the depot gave them, oldest first. */
  readonly announcements: Buffer[] = [];
  #upstream = 0;

  constructor(random: Random) {
    this.#random = random;
    this.#server = createServer((request, response) => {
      response.on('error', () => {});
      void this.#pass(request, response).catch(() => response.destroy());
    });
  }

  async open(upstream: number): Promise<string> {
    this.#upstream = upstream;
    await new Promise<void>((done) => {
      this.#server.listen(0, '127.0.0.1', () => done());
    });
    return `http://127.0.0.1:${(this.#server.address() as AddressInfo).port}`;
  }

  close(): void {
    this.#agent.destroy();
    this.#server.closeAllConnections();
    this.#server.close();
  }

  async #pass(request: IncomingMessage, response: ServerResponse): Promise<void> {
    const message = await messageOf(request);
    const fault = this.#draw(message);
    if (fault) this.met.set(fault, (this.met.get(fault) ?? 0) + 1);
    if (fault === 'lost') return void response.destroy();
    if (fault === 'overtaken') {
      void pause(this.#random.below(OVERTAKEN_MS)).then(() => this.#forward(message).catch(() => {}));
      return void response.destroy();
    }
    if (fault === 'late') await pause(this.#random.below(LATEST_MS));
    if (fault === 'twice') await this.#forward(message);
    const answer = await this.#forward(message);
    if (fault === 'answer-lost') return void response.destroy();
    this.#send(response, message, fault ? this.#lie(fault, answer, message) : answer, fault);
  }

  #draw({ method }: Message): HttpFault | undefined {
    if (this.quiet) return undefined;
    if (method === 'GET' && this.hostile) return this.#random.pick(HOSTILE);
    if (!this.#random.chance(FAULTY)) return undefined;
    const fault = this.#random.pick(ON_THE_WAY);
    return method === 'GET' && fault === 'overtaken' ? 'late' : fault;
  }

  #lie(fault: HttpFault, answer: Answer, { path }: Message): Answer {
    const { status, headers, body } = answer;
    if (fault === 'flipped' && body.length > 0) {
      const flipped = Buffer.from(body);
      flipped[this.#random.below(body.length)]! ^= 1 << this.#random.below(8);
      return { status, headers, body: flipped };
    }
    if (fault === 'shorter') return { status, headers, body: body.subarray(0, body.length >> 1) };
    if (fault === 'of-another-release') {
      const others = [...this.#files].filter(([name]) => name !== path);
      return others.length > 0 ? { status, headers, body: this.#random.pick(others)[1] } : answer;
    }
    // Under the tag of the newest, so that asking whether it changed would say no for good.
    if (fault === 'old-announcement' && path.startsWith('/a/') && this.announcements.length > 0)
      return { status: 200, headers, body: this.announcements[0]! };
    return fault === 'no-such-thing' ? { status: 404, headers: {}, body: Buffer.alloc(0) } : answer;
  }

  #send(response: ServerResponse, message: Message, answer: Answer, fault: HttpFault | undefined): void {
    for (const name of ['etag', 'content-range', 'content-type', 'retry-after']) {
      const value = answer.headers[name];
      if (value !== undefined) response.setHeader(name, value);
    }
    if (fault === 'endless' && message.method === 'GET') {
      this.#pour(response);
      return;
    }
    if (answer.status !== 304) response.setHeader('content-length', answer.body.length);
    response.writeHead(answer.status);
    if (fault !== 'cut') response.end(answer.body);
    else response.write(answer.body.subarray(0, answer.body.length >> 1), () => response.destroy());
  }

  #pour(response: ServerResponse): void {
    response.writeHead(200);
    const pour = () => {
      while (!response.destroyed && response.write(Buffer.alloc(16_384, 7)));
      if (!response.destroyed) response.once('drain', pour);
    };
    pour();
  }

  async #forward(message: Message): Promise<Answer> {
    const began = performance.now();
    const answer = await this.#ask(message);
    this.took.push(performance.now() - began);
    if (message.method === 'POST') this.#note(message, answer);
    else if (answer.status === 200) this.#remember(message.path, answer.body);
    return answer;
  }

  #note({ body }: Message, { status }: Answer): void {
    if (status === 200) this.acknowledged.add(createHash('sha256').update(body).digest('hex'));
    if (status === 507) this.full += 1;
    if (this.captured.length < MOST_CAPTURED) this.captured.push(body);
    else this.captured[this.#random.below(MOST_CAPTURED)] = body;
  }

  #remember(path: string, body: Buffer): void {
    if (path.startsWith('/p/')) this.#files.set(path, body);
    else if (!this.announcements.some((each) => each.equals(body))) this.announcements.push(body);
  }

  #ask({ method, path, headers, body }: Message): Promise<Answer> {
    return new Promise((resolve, reject) => {
      const options = { host: '127.0.0.1', port: this.#upstream, method, path, headers, agent: this.#agent };
      const request = ask(options, (answer) => {
        collect(answer).then(
          (bytes) => resolve({ status: answer.statusCode!, headers: answer.headers, body: bytes }),
          reject,
        );
      });
      request.on('error', reject);
      request.end(body);
    });
  }
}

async function messageOf(request: IncomingMessage): Promise<Message> {
  const body = await collect(request);
  const headers: Record<string, string> = {};
  for (const name of ['if-none-match', 'range', 'if-range', 'content-type']) {
    const value = request.headers[name];
    if (typeof value === 'string') headers[name] = value;
  }
  return { method: request.method!, path: request.url!, headers, body };
}

async function collect(stream: IncomingMessage): Promise<Buffer> {
  const pieces: Buffer[] = [];
  for await (const piece of stream) pieces.push(piece);
  return Buffer.concat(pieces);
}
