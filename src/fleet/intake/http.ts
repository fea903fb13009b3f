import type { IncomingMessage, RequestListener, ServerResponse } from 'node:http';
import { REPORT_ANSWER } from '../../broadcast/index.ts';
import { REPORT_LIMITS } from '../../report/index.ts';
import { isFull } from './full-disk.ts';
import type { Intake, IntakeResult } from './intake.ts';
import { Patience } from './patience.ts';

/** Requests that are read and judged at once; more are asked to come later. */
const MOST_AT_ONCE = 512;
const SECONDS = { busy: 1, impatient: 5, trouble: 10, full: 60 } as const;
const STATUS = {
  new: 200,
  known: 200,
  foreign: 403,
  malformed: 422,
  forged: 422,
  doubted: 422,
} as const satisfies Record<IntakeResult['outcome'], number>;

/**
 * Takes reports over HTTP, one a request: 200 once it is durably in the store, again where it was before; 422 for what never
 * counts; 403 for units that are not known here (yet). 413, 429, 503 and 507 (RFC 4918 section 11.5) mean that it was not
 * entered and may come again. `trouble`: told why the store took nothing.
 */
export function reportListener(intake: Intake, trouble: (error: unknown) => void): RequestListener {
  const patience = new Patience();
  let atOnce = 0;
  return (request, response) => {
    const from = request.socket.remoteAddress ?? '';
    if (atOnce >= MOST_AT_ONCE) return later(response, 503, SECONDS.busy);
    if (patience.isLost(from)) return later(response, 429, SECONDS.impatient);
    atOnce += 1;
    void take(request, response)
      .catch((error: unknown) => {
        trouble(error);
        if (isFull(error)) later(response, 507, SECONDS.full);
        else later(response, 503, SECONDS.trouble);
      })
      .finally(() => {
        atOnce -= 1;
      });
  };

  async function take(request: IncomingMessage, response: ServerResponse): Promise<void> {
    const body = await bodyOf(request);
    if (body === 'gone') return;
    if (body === 'too-large') return later(response, 413);
    const result = await intake.take(body);
    if (STATUS[result.outcome] !== 200) patience.spend(request.socket.remoteAddress ?? '');
    send(response, STATUS[result.outcome], answerOf(result));
  }
}

function answerOf({ id, ...rest }: IntakeResult): object {
  return { format: REPORT_ANSWER, report: id, ...rest };
}

/** The whole body; a report that is longer than any is not read to its end. */
async function bodyOf(request: IncomingMessage): Promise<Uint8Array | 'too-large' | 'gone'> {
  const most = REPORT_LIMITS.messageSize;
  if (Number(request.headers['content-length'] ?? 0) > most) return 'too-large';
  const pieces: Uint8Array[] = [];
  let size = 0;
  try {
    for await (const piece of request as AsyncIterable<Uint8Array>) {
      size += piece.length;
      if (size > most) return 'too-large';
      pieces.push(piece);
    }
  } catch {
    return 'gone';
  }
  return new Uint8Array(Buffer.concat(pieces));
}

function later(response: ServerResponse, status: number, seconds?: number): void {
  if (response.headersSent) return;
  response.writeHead(status, {
    'content-length': 0,
    connection: 'close',
    ...(seconds === undefined ? {} : { 'retry-after': String(seconds) }),
  });
  response.end();
}

function send(response: ServerResponse, status: number, answer: object): void {
  const body = Buffer.from(JSON.stringify(answer));
  response.writeHead(status, {
    'content-type': 'application/json',
    'content-length': body.length,
    'cache-control': 'no-store',
    'x-content-type-options': 'nosniff',
  });
  response.end(body);
}
