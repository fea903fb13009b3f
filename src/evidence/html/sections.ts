import type { Evidence } from '../schema.ts';
import { html, type Markup } from './markup.ts';
import { address, bytes, facts, grouped, mono, state, table, verdict } from './parts.ts';

/** One part of the page. */
export interface Section {
  readonly id: string;
  readonly title: string;
  readonly body: Markup;
}

/** What was sealed. */
export function sealedSection({ release }: Evidence): Section {
  const { envelope } = release;
  const rows: [string, Markup | string][] = [
    ['Class', `${release.class}, ${release.model}`],
    ['Class identifier', mono(release.class_id)],
    ['Vendor identifier', mono(release.vendor_id)],
    ['For', release.device_id === null ? 'every unit of the class' : mono(release.device_id)],
    ['Version', release.version],
    ['Sequence number', release.sequence_number],
    ['Security version', String(release.security_version)],
    ['Scheme and profile', `${release.scheme}, ${release.profile}`],
    ['Encryption', release.encryption ?? 'none: the image travels in clear'],
    ['Manifest digest', mono(release.manifest_digest)],
    ['Reference URI', mono(release.reference_uri)],
    [
      'Envelope',
      html`${envelope.file}, ${bytes(envelope.size_bytes)}${release.detached ? ', images beside it' : ''}<br>${mono(envelope.sha256)}`,
    ],
    [
      'Envelope compared',
      envelope.compared
        ? verdict(true, 'the file given is the one on record', '')
        : 'not done: the envelope itself was not given',
    ],
    ['Sealed', release.sealed],
    ['Record', mono(release.record)],
  ];
  if (release.description !== null) rows.push(['Description', release.description]);
  const open =
    release.open.length === 0
      ? ''
      : html`<p class="banner">Unfinished: units still ask for ${release.open.join('; ')}.</p>`;
  return {
    id: 'sealed',
    title: 'What was sealed',
    body: html`${open}${facts('Facts of the release, from its record', rows)}`,
  };
}

/** How the images fit. */
export function imagesSection({ images, components, dependencies }: Evidence): Section {
  const parts = images.map((image) => {
    const share = image.room_bytes === 0 ? 0 : Math.min(100, (image.size_bytes / image.room_bytes) * 100);
    const free = image.room_bytes - image.size_bytes;
    const fit = html`${verdict(free >= 0, 'fits', 'does not fit')} ${bytes(image.size_bytes)} of ${bytes(image.room_bytes)}, ${bytes(Math.max(0, free))} free
<div class="bar" role="img" aria-label="${share.toFixed(0)} percent of the slot"><span style="width:${share.toFixed(1)}%"></span></div>`;
    return facts(`Image for slot ${image.slot}`, [
      ['Memory fit', fit],
      ['Address', mono(address(image.address))],
      ['SHA-256', mono(image.digest)],
      ['Made from', html`${image.source}<br>${mono(image.source_sha256)}`],
      ...(image.delta === null
        ? []
        : [
            [
              'Travels as a delta',
              html`${bytes(image.delta.size_bytes)} from ${mono(image.delta.precursor_digest)}<br>${mono(image.delta.digest)}`,
            ] as const,
          ]),
      ['Gaps filled, ranges left out', `${image.gaps}, ${image.left_out}`],
      ...(image.ciphertext_digest === null
        ? []
        : [['Ciphertext SHA-256', mono(image.ciphertext_digest)] as const]),
    ]);
  });
  const further = components.map(({ name, digest, size_bytes, file }) => [
    name,
    bytes(size_bytes),
    file,
    mono(digest),
  ]);
  const others = dependencies.map(({ name, sequence_number, root, signer, manifest_digest }) => [
    name,
    sequence_number,
    `${signer}, under ${root}`,
    mono(manifest_digest),
  ]);
  const body = html`${parts}${further.length === 0 ? '' : table('Images of further components', ['Component', 'Size', 'Made from', 'SHA-256'], further)}${others.length === 0 ? '' : table('Envelopes that other authors sealed', ['Envelope', 'Number', 'Sealed by', 'Manifest digest'], others)}`;
  return { id: 'images', title: 'Images and memory fit', body };
}

/** Who sealed it, up to the root. */
export function sealsSection({ seals }: Evidence): Section {
  const parts = seals.map((seal) => {
    const steps = seal.chain.map(
      ({ subject, serial, not_before, not_after, sha256 }) =>
        html`<li>${subject}<br>serial ${mono(serial)}, valid ${not_before.slice(0, 10)} to ${not_after?.slice(0, 10) ?? 'no set end'}<br>${mono(sha256)}</li>\n`,
    );
    const anchor =
      seal.anchor === null
        ? []
        : [html`<li>root <strong>${seal.anchor}</strong>, which units hold locked</li>\n`];
    const holds =
      seal.chain_holds === null
        ? html`<p>A MAC key: units hold the same key, and there is no chain.</p>`
        : html`<p>${verdict(seal.chain_holds, 'the chain holds', 'the chain does not hold')} ${seal.chain_holds ? 'The certificate on file is the recorded one, and its path ends at a root here.' : 'The certificate on file is not the recorded one, or its path ends at no root here.'}</p>\n<ol class="chain">\n${[...steps, ...anchor]}</ol>`;
    const who = seal.people.length === 0 ? 'nobody named' : seal.people.join('; ');
    return html`<h3>${seal.name}${seal.role === null ? '' : `, ${seal.role}`}${seal.added === null ? '' : `, added ${seal.added}`}</h3>
${facts('The key', [
  ['Algorithm', seal.algorithm],
  ['Custody', seal.custody],
  ['Fingerprint', mono(seal.fingerprint)],
  ['Ceremony', seal.ceremony === null ? 'no record' : html`${mono(seal.ceremony)}: ${who}`],
])}${holds}`;
  });
  return { id: 'seals', title: 'By which key', body: html`${parts}` };
}

/** Who asked and who approved. */
export function approvalSection({ approval, approvals_asked }: Evidence): Section {
  const title = 'Approvals';
  if (!approval) {
    const why =
      approvals_asked === 0
        ? 'The class asks for none: one person sealed this release alone.'
        : `The class asks for ${approvals_asked} now; this release was sealed without.`;
    return { id: 'approvals', title, body: html`<p>${verdict(false, '', 'no approval')} ${why}</p>` };
  }
  const rows = approval.approvals.map(({ person, approver, approved, counts, fault, fingerprint }) => [
    person ?? approver,
    approved ?? '',
    counts ? verdict(true, 'counted', '') : verdict(false, '', `did not count: ${fault ?? ''}`),
    mono(fingerprint ?? ''),
  ]);
  return {
    id: 'approvals',
    title,
    body: html`<p>${verdict(approval.holds, 'request and approvals verify', 'request or approvals do not verify')} Asked for by <strong>${approval.requested_by}</strong> on ${approval.requested}; ${approval.counted} of ${approval.needed} needed.</p>
<p>${mono(approval.request)} ${mono(approval.request_sha256)}</p>
${table('Approvals of the sealing request', ['Person', 'Approved', 'State', 'Key'], rows)}`,
  };
}

/** What was rehearsed, forgery by forgery in sum. */
export function rehearsalSection({ rehearsals, rehearsals_on_ledger }: Evidence): Section {
  const title = 'Rehearsal: forgeries';
  if (rehearsals.length === 0) {
    const known =
      rehearsals_on_ledger === 0
        ? 'The ledger knows of no rehearsal of this release.'
        : `The ledger names ${rehearsals_on_ledger}; its result was not given.`;
    return { id: 'rehearsal', title, body: html`<p>${verdict(false, '', 'not done')} ${known}</p>` };
  }
  const parts = rehearsals.map((each) => {
    const { rows, passed, failed, exposed } = each.counts;
    const head = html`<p>${verdict(each.outcome === 'passed', 'passed', each.outcome)} ${each.rehearsed}, against unit ${each.unit.serial} of class ${each.unit.class}: ${rows} forgeries, ${passed} refused at their step, ${failed} not, ${exposed} do not apply here. ${each.on_ledger ? 'The ledger says the same.' : 'The ledger does not say the same.'}</p>
<p>Result file ${mono(each.file_sha256)}. ${each.unit.swapped.length === 0 ? '' : `Where a signing key was needed, a stand-in unit was asked, in which differ: ${each.unit.swapped.join(', ')}.`}</p>`;
    const threats = each.threats.map(({ name, passed: yes, failed: no, exposed: none, outside }) => [
      `THREAT.${name}`,
      grouped(yes),
      grouped(no),
      grouped(none),
      outside ?? '',
    ]);
    const number = (text: string) => ({ head: text, number: true });
    return html`${head}${table('By threat (RFC 9124 section 4.2)', ['Threat', number('refused as they must be'), number('not'), number('not applicable'), 'Outside, because'], threats)}${reasons('Forgeries that were not refused as they must be', each.failures)}${reasons('Forgeries that do not apply here: exposure, not passed', each.exposures)}`;
  });
  return { id: 'rehearsal', title, body: html`${parts}` };
}

function reasons(
  caption: string,
  rows: readonly { readonly name: string; readonly because: string }[],
): Markup {
  if (rows.length === 0) return html``;
  return table(
    caption,
    ['Forgery', 'Because'],
    rows.map(({ name, because }) => [name, because]),
  );
}

/** What units would say. */
export function acceptanceSection({ acceptance }: Evidence): Section {
  const title = 'Rehearsal: acceptance';
  if (acceptance.length === 0)
    return {
      id: 'acceptance',
      title,
      body: html`<p>${verdict(false, '', 'not done')} No check against an inventory of units is among the evidence.</p>`,
    };
  const parts = acceptance.map(({ outcome, rehearsed, counts, left_behind, remedies, ...files }) => {
    const rest = counts.not_judged_to_the_end + counts.unread;
    const groups = left_behind.map((group) => [
      group.class,
      grouped(group.units),
      group.refusal,
      group.because ?? '',
    ]);
    const steps = remedies.map(({ says, units, changes }) => [says, grouped(units), changes.join('; ')]);
    const units = { head: 'Units', number: true };
    return html`<p>${verdict(outcome === 'everyone accepts', outcome, outcome)} ${rehearsed}: ${grouped(counts.accepted)} of ${grouped(counts.units)} units take it, ${grouped(counts.refused)} refuse, ${grouped(rest)} could not be judged to the end; ${grouped(counts.groups)} groups.</p>
<p>Inventory ${mono(files.inventory_sha256)}, result file ${mono(files.file_sha256)}. ${files.on_ledger ? 'The ledger says the same.' : 'The ledger does not say the same.'}</p>
${groups.length === 0 ? '' : table('Units that are left behind', ['Class', units, 'Refusal', 'Because'], groups)}${steps.length === 0 ? '' : table('What would leave nobody behind', ['Reason', units, 'Changes'], steps)}`;
  });
  return { id: 'acceptance', title, body: html`${parts}` };
}

/** How it went out. */
export function broadcastSection({ broadcast }: Evidence): Section {
  const title = 'Broadcast: waves and stops';
  const id = 'broadcast';
  if (broadcast.length === 0)
    return { id, title, body: html`<p>Not broadcast in waves by this workspace.</p>` };
  const rows = broadcast.map(({ entry, at, broadcast: number, step, wave, who, says }) => [
    String(entry),
    at,
    wave === null ? String(number) : `${number}, wave ${wave}`,
    step.replace('-', ' '),
    says,
    who,
  ]);
  const columns = [{ head: 'Entry', number: true }, 'At', 'Broadcast', 'Step', 'Why', 'By'];
  return { id, title, body: html`${table('What the ledger says of it, in order', columns, rows)}` };
}

/** The decision behind the class, the units, the support period. */
export function groundsSection({ plan, production, support_until }: Evidence): Section {
  const { units, lock_proved, debug_closed, batches } = production;
  const decision = plan
    ? html`entry ${plan.entry} of the ledger: decided by ${plan.decided_by}, planned ${plan.planned}${plan.conflicts.length === 0 ? '' : `; conflicts then: ${plan.conflicts.join(', ')}`}<br>${plan.files.map((file) => html`${mono(file)} `)}`
    : verdict(false, '', 'none on the ledger before this release');
  return {
    id: 'grounds',
    title: 'Decision, production, support',
    body: facts('What stands behind the release', [
      ['Decision record', decision],
      ['Units on record', `${grouped(units)}, of ${batches} batch(es)`],
      [
        'Lock of the anchor proved',
        units === 0
          ? 'no units on record'
          : html`${verdict(lock_proved === units, 'all', 'not all')} ${grouped(lock_proved)} of ${grouped(units)}`,
      ],
      [
        'Debug port closed',
        units === 0
          ? 'no units on record'
          : html`${verdict(debug_closed === units, 'all', 'not all')} ${grouped(debug_closed)} of ${grouped(units)}`,
      ],
      [
        'Support period',
        support_until === null ? verdict(false, '', 'not stated') : `security updates until ${support_until}`,
      ],
    ]),
  };
}

/** The hash chain. */
export function ledgerSection({ ledger }: Evidence): Section {
  const findings = ledger.findings.map((each) => html`<li>${each}</li>\n`);
  return {
    id: 'ledger',
    title: 'Ledger',
    body: html`${facts('The hash chain over everything that was done', [
      ['Chain', html`${verdict(ledger.intact, 'intact', 'not intact')} ${ledger.entries} entries`],
      ['Sealed in entry', html`${ledger.entry}<br>${mono(ledger.entry_sha256)}`],
      ['Head', ledger.head_sha256 === null ? 'none' : mono(ledger.head_sha256)],
    ])}${findings.length === 0 ? '' : html`<ul>\n${findings}</ul>`}`,
  };
}

/** RFC 9124. */
export function requirementsSection({ requirements }: Evidence): Section {
  const rows = requirements.map(({ section, name, asks, cover, evidence }) => [
    html`${section}<small>${name}</small>`,
    asks,
    state(cover),
    evidence,
  ]);
  return {
    id: 'requirements',
    title: 'Requirements of RFC 9124',
    body: table(
      'Section 4.3, each with what stands for it here',
      ['Requirement', 'Asks for', 'Evidence', 'By'],
      rows,
      'cited',
    ),
  };
}

/** The rules of the trade. */
export function rulesSection({ rules }: Evidence): Section {
  const rows = rules.map(({ rule, where, asks, status, cover, evidence }) => [
    html`${rule}<small>${where}</small>`,
    asks,
    status,
    state(cover),
    evidence,
  ]);
  return {
    id: 'rules',
    title: 'Rules',
    body: html`<p>No legal advice. The status says how far each text was read when this table was made: open the original before quoting it.</p>
${table('Rules, and what stands for each here', ['Rule', 'Asks for', 'Read in', 'Evidence', 'By'], rows, 'cited')}`,
  };
}

/** Cautions. */
export function cautionsSection({ cautions }: Evidence): Section {
  const items = cautions.map((each) => html`<li>${each}</li>\n`);
  return { id: 'cautions', title: 'Cautions', body: html`<ul>\n${items}</ul>` };
}
