import { type Link, readFigures, type Sending, sendingOf } from '../plan/index.ts';
import { type JsonObject, listRecords, readClass, type Workspace } from '../workspace/index.ts';
import { duration } from './show-cost.ts';
import type { Call } from './spec.ts';

/** The delta of an image, as sealing gives it. */
interface SealedDelta {
  readonly size_bytes: number;
  readonly window_bytes: number;
  readonly precursor: {
    readonly file: string;
    readonly sequence_number: string | null;
    readonly version: string | null;
  };
}

interface SealedImage {
  readonly size_bytes: number;
  readonly delta: SealedDelta | null;
}

/**
 * What deltas save: bytes, and the time on air over each link of the class, by the figures of the workspace. Gives the
 * latter as JSON; null where the release has none.
 */
export async function showDeltas(
  call: Call,
  workspace: Workspace,
  sealed: JsonObject,
): Promise<JsonObject[] | null> {
  const images = sealed.images as unknown as readonly SealedImage[];
  const deltas = images.flatMap(({ delta }) => delta ?? []);
  if (deltas.length === 0) return null;
  for (const { size_bytes: whole, delta } of images) showDelta(call, whole, delta!);
  const envelope = (sealed.envelope as { size_bytes: number }).size_bytes;
  const inside = deltas.reduce((sum, { size_bytes }) => sum + size_bytes, 0);
  const whole = envelope - inside + Math.max(...images.map(({ size_bytes }) => size_bytes));
  const { name, links } = await readClass(workspace, String(sealed.class));
  const figures = await readFigures(workspace);
  const units = Math.max(1, listRecords(workspace, 'units', name).length);
  return links.map((each) => showLink(call, figures.link(each), { envelope, whole, units }));
}

function showDelta({ out }: Call, whole: number, { size_bytes, window_bytes, precursor }: SealedDelta): void {
  const { file, sequence_number, version } = precursor;
  const from = sequence_number === null ? file : `${file}, release ${sequence_number} (${version})`;
  out.fact('delta', `${size_bytes} B from ${from}: ${saved(size_bytes, whole)} less than ${whole} B`);
  out.fact('largest window', `${window_bytes} B of RAM on the unit`);
}

function saved(part: number, whole: number): string {
  return `${Math.floor((1 - part / whole) * 100)} %`;
}

function showLink(
  { out }: Call,
  link: Link,
  { envelope, whole, units }: { envelope: number; whole: number; units: number },
): JsonObject {
  const [delta, full] = [envelope, whole].map((bytes) => sendingOf(link, bytes, units)) as [Sending, Sending];
  const told = ({ airTime, timeToComplete }: Sending) =>
    `${duration(airTime)} on air, complete in ${duration(timeToComplete)}`;
  out.fact(`over ${link.name}`, `${told(delta)}; with the whole image ${told(full)}`);
  return {
    link: link.name,
    delivery: link.delivery,
    units,
    delta: sendingJson(envelope, delta),
    full: sendingJson(whole, full),
  };
}

function sendingJson(bytes: number, { frames, airTime, timeToComplete }: Sending): JsonObject {
  return { size_bytes: bytes, frames, air_time_s: airTime, time_to_complete_s: timeToComplete };
}
