// docs/forgeries.md: every forgery that a rehearsal makes, out of the table that it goes by.
import {
  FORGERIES,
  type Forgery,
  PLACES,
  stepOfRefusal,
  THREATS,
  type Threat,
} from '../../src/rehearsal/index.ts';
import { STEPS } from '../../src/unit/index.ts';

const ASKED = {
  unit: 'the unit',
  'stand-in': 'a stand-in',
  sealing: 'sealing',
} as const;

/** The page. */
export function forgeriesPage(): string {
  return `# Forgeries

Written from the table in \`src/rehearsal/forgeries\` by \`npm run docs\`. Before a release is broadcast, \`fieldseal rehearse\`
makes each of these ${FORGERIES.length} forgeries from the real payload. Each must be refused at its step and with its refusal
([refusals](refusals.md)): one that is accepted, or falls at another step or for another reason, fails the rehearsal. So does a
refusal in steps 1 to 7 after which something was programmed, and a running slot that was written to.

"Asked": **the unit** is the unit as it is, with its real anchor or key, for what anybody could send. **A stand-in** is the same
record with only its keys swapped for those of a throwaway authority, for what needs a signing key: the production key signs
nothing but the release. Where the MAC key or decryption key of the unit is not at hand, the stand-in is asked too. **Sealing**
refuses by itself. A row that does not apply (the column "where") is listed as exposure, not as passed.

Two outcomes are no refusals of a unit: \`sealing-refused\`, and \`only-genuine-runs\` where the power is cut, after which the unit must
run one of the two sealed images and nothing else, and still take the release.

Common practice, where no other source stands: the forgeries themselves. The threats are those of RFC 9124 section 4.2. Physical
attacks are outside (RFC 9124 section 4.1): fault injection, side channels, and marks of the unit that are put back to an older
state by somebody who writes its protected memory.

${STEPS.map(({ name, number }) => section(`${number}. ${name}`, at(name))).join('\n')}
${section('Before any unit: seal', at('seal'))}
## Threats

| threat | RFC 9124 | what it is | forgeries |
|---|---|---|---|
${THREATS.map(threatRow).join('\n')}
`;
}

function at(step: string): readonly Forgery[] {
  return FORGERIES.filter(({ refusal }) => stepOfRefusal(refusal) === step);
}

function section(title: string, rows: readonly Forgery[]): string {
  if (rows.length === 0) return '';
  return [
    `## ${title}`,
    '',
    '| forgery | threat | how it is built | where | asked | refusal |',
    '|---|---|---|---|---|---|',
    ...rows.map(rowText),
    '',
  ].join('\n');
}

function rowText({ name, threat, built, where = [], refusal, attack }: Forgery): string {
  const places = where.map((place) => PLACES[place].text).join('; ');
  return `| ${name} | ${threat} | ${built} | ${places} | ${ASKED[attack.against]} | \`${refusal}\` |`;
}

function threatRow({ name, section: number, about, outside }: Threat): string {
  const count = FORGERIES.filter(({ threat }) => threat === name).length;
  return `| THREAT.${name} | ${number} | ${about} | ${outside ?? count} |`;
}
