import { choose } from '../router.ts';
import { bytes, Caution, Digest, Facts, moment, sentence } from './tell.tsx';

/** How far a requirement is shown. */
export type Cover = 'shown' | 'in part' | 'not shown' | 'by the product';

/** Evidence as the server tells it: the parts that the screen shows; the page for auditors has all. */
export interface EvidenceShown {
  readonly as_of: string;
  readonly trial: boolean;
  readonly release: {
    readonly class: string;
    readonly version: string;
    readonly sequence_number: string;
    readonly sealed: string;
    readonly manifest_digest: string;
    readonly envelope: { readonly size_bytes: number; readonly compared: boolean };
  };
  readonly seals: readonly { readonly name: string; readonly custody: string; readonly algorithm: string }[];
  readonly approval: {
    readonly needed: number;
    readonly counted: number;
    readonly requested_by: string;
  } | null;
  readonly ledger: { readonly intact: boolean; readonly entries: number; readonly entry: number };
  readonly rehearsals: readonly { readonly outcome: string; readonly on_ledger: boolean }[];
  readonly acceptance: readonly { readonly outcome: string; readonly on_ledger: boolean }[];
  readonly support_until: string | null;
  readonly cautions: readonly string[];
  readonly requirements: readonly Requirement[];
  readonly rules: readonly (Omit<Requirement, 'section' | 'name'> & {
    readonly rule: string;
    readonly where: string;
    readonly status: string;
  })[];
}

interface Requirement {
  readonly section: string;
  readonly name: string;
  readonly asks: string;
  readonly cover: Cover;
  readonly evidence: string;
}

const COVERS: readonly Cover[] = ['shown', 'in part', 'not shown', 'by the product'];

/** What the records show of a release, and what they do not. */
export function Findings({ evidence, cover }: { evidence: EvidenceShown; cover: Cover | '' }) {
  const { release, seals, approval, ledger, rehearsals, acceptance, requirements, rules } = evidence;
  const rows = [
    ...requirements.map((each) => ({ ...each, of: `RFC 9124 ${each.section}`, name: each.name })),
    ...rules.map((each) => ({ ...each, of: `${each.rule}, ${each.status}`, name: each.where })),
  ];
  const came = (list: EvidenceShown['rehearsals']) =>
    list.length === 0
      ? 'not given here'
      : list.map(
          ({ outcome, on_ledger }) => `${outcome}${on_ledger ? ', on the ledger' : ', NOT on the ledger'}`,
        );
  return (
    <section aria-labelledby="findings">
      <h2 id="findings">
        {release.class} {release.version}, number {release.sequence_number}
      </h2>
      {evidence.trial && <Caution>From a trial workspace: not for production.</Caution>}
      <Facts
        facts={[
          ['as of', moment(evidence.as_of)],
          ['sealed', moment(release.sealed)],
          ['by', seals.map(({ name, algorithm, custody }) => `${name}, ${algorithm}, ${custody}`).join('; ')],
          ['manifest digest', <Digest hex={release.manifest_digest} />],
          [
            'envelope',
            `${bytes(release.envelope.size_bytes)}, ${release.envelope.compared ? 'compared: it is the one on record' : 'not compared'}`,
          ],
          [
            'approvals',
            approval
              ? `${approval.counted} of ${approval.needed}, asked for by ${approval.requested_by}`
              : 'none',
          ],
          [
            'ledger',
            `${ledger.intact ? 'intact' : 'NOT intact'}, entry ${ledger.entry} of ${ledger.entries}`,
          ],
          ['rehearsed', came(rehearsals)],
          ['acceptance', came(acceptance)],
          ['support until', evidence.support_until ?? 'not stated'],
        ]}
      />
      <h3>Requirements and rules</h3>
      <label>
        Shown
        <select value={cover} onChange={(event) => choose({ cover: event.currentTarget.value })}>
          <option value="">all {rows.length}</option>
          {COVERS.map((each) => (
            <option key={each} value={each} selected={each === cover}>
              {each}: {rows.filter((row) => row.cover === each).length}
            </option>
          ))}
        </select>
      </label>
      <ul class="forgeries">
        {rows
          .filter((row) => cover === '' || row.cover === cover)
          .map((row) => (
            <li key={`${row.of} ${row.name}`} class={row.cover === 'not shown' ? 'failed' : ''}>
              <details>
                <summary>
                  <strong>{row.name}</strong> <span class="soft">{row.of}</span>{' '}
                  <span class="came">{row.cover}</span>
                </summary>
                <p>{sentence(row.asks)}</p>
                <p>{sentence(row.evidence)}</p>
              </details>
            </li>
          ))}
      </ul>
      {evidence.cautions.map((caution) => (
        <Caution key={caution}>{sentence(caution)}</Caution>
      ))}
    </section>
  );
}
