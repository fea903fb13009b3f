import { formatAddress, formatSize } from '../image/index.ts';
import type { JsonObject } from '../workspace/index.ts';
import type { Output } from './output.ts';

interface Shown {
  readonly request: string;
  readonly state: string;
  readonly trial: boolean;
  readonly requested_by: string;
  readonly requester: string;
  readonly expires: string;
  readonly class: string;
  readonly class_id: string;
  readonly model: string;
  readonly device_id: string | null;
  readonly version: string;
  readonly sequence_number: string;
  readonly security_version: number;
  readonly images: readonly {
    digest: string;
    size_bytes: number;
    address: number;
    uri: string | null;
    delta: { digest: string; size_bytes: number; precursor: { digest: string } } | null;
  }[];
  readonly components: readonly { name: string; digest: string; size_bytes: number }[];
  readonly dependencies: readonly { name: string; manifest_digest: string }[];
  readonly destination: { shape: string; slots: { name: string; address: number; size_bytes: number }[] };
  readonly encryption: { algorithm: string; recipients: string; count: number } | null;
  readonly manifest_digest: string | null;
  readonly needed: number;
  readonly counted: number;
  readonly approvals: readonly {
    approver: string;
    person: string | null;
    counts: boolean;
    fault: string | null;
  }[];
}

/** A sealing request for people: what it froze, and its approvals. */
export function showRequest(out: Output, json: JsonObject): void {
  const shown = json as unknown as Shown;
  out.line(
    `sealing request ${shown.request}: ${shown.state}${shown.trial ? '  [TRIAL workspace: not for production]' : ''}`,
  );
  out.fact('asked for by', `${shown.requested_by} (${shown.requester}), holds until ${shown.expires}`);
  out.fact('class', `${shown.class}, ${shown.model}  ${shown.class_id}`);
  out.fact('for', shown.device_id === null ? 'every unit of the class' : `one unit, ${shown.device_id}`);
  out.fact('version', `${shown.version}, sequence number ${shown.sequence_number}`);
  out.fact('security version', String(shown.security_version));
  for (const image of shown.images) {
    out.fact('image', `${image.size_bytes} B for ${formatAddress(image.address)}`);
    out.fact('  sha-256', image.digest);
    if (image.uri !== null) out.fact('  fetched from', image.uri);
    if (image.delta) {
      out.fact('  as a delta', `${image.delta.size_bytes} B, sha-256 ${image.delta.digest}`);
      out.fact('  applied to', `sha-256 ${image.delta.precursor.digest}`);
    }
  }
  for (const { name, digest, size_bytes } of shown.components)
    out.fact(`component ${name}`, `${size_bytes} B  ${digest}`);
  for (const { name, manifest_digest } of shown.dependencies)
    out.fact('depends on', `${name}  manifest ${manifest_digest}`);
  const { shape, slots } = shown.destination;
  const places = slots.map(
    ({ name, address, size_bytes }) => `${name} ${formatAddress(address)} ${formatSize(size_bytes)}`,
  );
  out.fact('destination', `${shape}: ${places.join('; ')}`);
  const { encryption } = shown;
  out.fact(
    'encrypted',
    encryption ? `${encryption.algorithm}, for ${encryption.count} (${encryption.recipients})` : 'no',
  );
  if (shown.manifest_digest !== null) out.fact('manifest digest', shown.manifest_digest);
  out.fact('approvals', `${shown.counted} of ${shown.needed}`);
  for (const { approver, person, counts, fault } of shown.approvals)
    out.fact(
      counts ? '  approved by' : '  does not count',
      `${person ?? approver} (${approver})${fault ? `: ${fault}` : ''}`,
    );
}
