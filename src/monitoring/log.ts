import type { Logger } from 'pino';

/** Writes what happens, one JSON object a line. */
export interface Log {
  /** Something that happened, with facts for programs. */
  info(facts: object, says: string): void;
  /** A fault, with what caused it. */
  fault(error: unknown, says: string): void;
  close(): void;
}

/** Name and password in an address. */
const USER_INFO = /(?<=:\/\/)[^\s/@]+@/g;
/** One that is asked for by name is not told either. */
const SECRET_NAMES =
  /((?:passphrase|password|pin|token|secret|cookie|authorization)["']?\s*[:=]\s*)("[^"]*"|'[^']*'|\S+)/gi;

/** Opens a log that appends to a file, or writes to standard error where `to` is '-'. */
export async function openLog(to: string): Promise<Log> {
  const { default: pino } = await import('pino');
  const destination = pino.destination({ dest: to === '-' ? 2 : to, sync: true, mode: 0o600 });
  const logger: Logger = pino(
    { base: null, timestamp: pino.stdTimeFunctions.isoTime, messageKey: 'says' },
    destination,
  );
  return {
    info: (facts, says) => logger.info(facts, says),
    fault: (error, says) => logger.error({ error: toldOf(error) }, says),
    close: () => destination.end(),
  };
}

/** What may be told of an error: no library is trusted to keep secrets out of its messages. */
function toldOf(error: unknown): object {
  if (!(error instanceof Error)) return { message: withoutSecrets(String(error)) };
  const { code } = error as { code?: unknown };
  return {
    name: error.name,
    ...(typeof code === 'string' && { code }),
    message: withoutSecrets(error.message),
    ...(error.stack !== undefined && { stack: withoutSecrets(error.stack) }),
  };
}

function withoutSecrets(text: string): string {
  return text.replace(USER_INFO, '').replace(SECRET_NAMES, '$1(left out)');
}
