import { join } from 'node:path';
import { z } from 'zod';
import { filesOn, readableJson } from '../../workspace/index.ts';
import { readAnnouncement } from '../announcement/announcement.ts';
import { BroadcastError } from '../error.ts';

const schema = z.strictObject({
  format: z.literal('fieldseal.agent/1'),
  /** The highest counter that was taken, in decimal. */
  counter: z.string().regex(/^\d{1,20}$/),
  /** The announcement that is being followed, in base64; null where there is nothing to do for it. */
  following: z.base64().refine(isAnnouncement).nullable(),
  /** Entity tag of the announcement that was fetched last. */
  tag: z.string().nullable(),
  /** SHA-256 of the message that was judged last: the same again tells nothing new. */
  judged: z
    .string()
    .regex(/^[0-9a-f]{64}$/)
    .nullable()
    .default(null),
  /** When an announcement was last taken, by this machine's clock. */
  heard: z.iso.datetime().nullable(),
  /** Manifest digests that the unit refused or fell back from, the latest last. */
  refused: z.array(z.string().regex(/^[0-9a-f]{64}$/)).max(16),
});

/** What an agent remembers between its runs. */
export type AgentMemory = z.infer<typeof schema>;

const EMPTY: AgentMemory = {
  format: 'fieldseal.agent/1',
  counter: '0',
  following: null,
  tag: null,
  judged: null,
  heard: null,
  refused: [],
};

/** Reads an agent's memory; a new one where there is none. Throws `BroadcastError` where it cannot be read: a counter must not fall back. */
export function readMemory(folder: string): AgentMemory {
  const path = join(folder, 'agent.json');
  const files = filesOn();
  if (!files.exists(path)) return EMPTY;
  const memory = memoryIn(files.readText(path));
  if (memory) return memory;
  throw new BroadcastError(
    'memory',
    `${path} is damaged: which announcement was the latest is not known any more, and an older one must not be followed`,
    'put it back from a copy; or make sure that the depot serves the latest announcement, then remove it: the first that is heard counts',
  );
}

function memoryIn(text: string): AgentMemory | undefined {
  try {
    return schema.safeParse(JSON.parse(text)).data;
  } catch {
    return undefined;
  }
}

function isAnnouncement(following: string): boolean {
  try {
    readAnnouncement(Buffer.from(following, 'base64'));
    return true;
  } catch {
    return false;
  }
}

/** Writes an agent's memory, durably, before anything is done for it. */
export function writeMemory(folder: string, memory: AgentMemory): void {
  const files = filesOn();
  files.makeFolder(folder, { secret: true });
  files.replace(join(folder, 'agent.json'), readableJson({ ...memory }), { secret: true });
}
