import type { IncomingMessage, Server, ServerResponse } from 'node:http';

/** A request that was answered. Its query, its headers and its body are not told: secrets travel there. */
export interface AnsweredRequest {
  readonly method: string;
  readonly path: string;
  /** 0: the other side went before there was an answer. */
  readonly status: number;
  readonly seconds: number;
  readonly from: string;
}

/** Watches a server: `tell` hears of each request once it is over. */
export function watchRequests(server: Server, tell: (request: AnsweredRequest) => void): void {
  server.prependListener('request', (request: IncomingMessage, response: ServerResponse) => {
    const begin = performance.now();
    response.once('close', () => {
      tell({
        method: request.method ?? '',
        path: pathOf(request.url ?? ''),
        status: response.headersSent ? response.statusCode : 0,
        seconds: (performance.now() - begin) / 1000,
        from: request.socket.remoteAddress ?? '',
      });
    });
  });
}

const LONGEST_PATH = 200;

function pathOf(url: string): string {
  const end = url.search(/[?#]/);
  return (end < 0 ? url : url.slice(0, end)).slice(0, LONGEST_PATH);
}
