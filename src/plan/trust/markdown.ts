import type { TrustPlan } from './schema.ts';

const CAUTIONS = [
  'This record lays out consequences; it is no legal advice. Where a rule is named, its status says how far it was read: open the originals before quoting them.',
  'Pilot group first, every hardware revision in it; keep a recovery path and prove it regularly on a real unit.',
  'For products under a safety or approval standard, that standard and licensed or qualified practice decide whether, when and by whom an update may be installed.',
  'Side channels, fault injection, debug ports and reading flash are outside RFC 9124 (section 4.1) and this plan: name them as residual risk.',
];

/** The decision record in Markdown, to be read and signed. Says what the document says, and nothing else. */
export function planMarkdown(plan: TrustPlan): string {
  return [
    ...head(plan),
    ...choices(plan),
    ...alternatives(plan),
    ...leaks(plan),
    ...findings(plan),
    ...threats(plan),
    ...figures(plan),
    ...signOff(),
  ].join('\n');
}

function head(plan: TrustPlan): string[] {
  return [
    `# Trust plan: class ${cell(plan.class)}`,
    '',
    `${cell(plan.model)}, ${plan.class_id}, vendor ${cell(plan.vendor_domain)}. Planned ${plan.planned}.`,
    ...(plan.trial ? ['', '**From a trial workspace: not for production.**'] : []),
    '',
    ...table(
      ['reckoned with', 'value', ''],
      plan.assumptions.map(({ what, value, said }) => [
        what,
        value,
        said ? '' : 'assumed: say it in the class file',
      ]),
    ),
    '',
  ];
}

function choices(plan: TrustPlan): string[] {
  return [
    '## Decisions and what follows',
    '',
    ...table(
      ['decision', 'chosen', 'what follows here'],
      plan.choices.map(({ choice, chosen, consequences }) => [choice, chosen, consequences.join('; ')]),
    ),
    '',
  ];
}

function alternatives(plan: TrustPlan): string[] {
  const rows = plan.alternatives.map((each) => [
    each.chosen ? `**${each.profile}** (chosen)` : each.profile,
    each.authentication,
    String(each.added_bytes),
    String(each.seal_bytes),
    `${each.encrypted_bytes} for ${each.recipients} (${each.recipients_kind}), ${each.content}`,
    `${each.kept_bytes} of ${each.room_bytes}${each.kept_bytes > each.room_bytes ? ': too large' : ''}`,
    each.verifications === 0
      ? 'hash speed'
      : `${each.authentication_ms} ms (${each.verifications} verifications)`,
    `${each.image_ms} ms`,
    each.basis === 'certificates on file' ? 'to the byte' : 'certificates alike',
  ]);
  return [
    '## All profiles side by side',
    '',
    'Bytes by which a release is larger than its image. Times are for one pass: at install, and again at every start.',
    '',
    ...table(
      [
        'profile',
        'seal',
        'bytes added',
        'of it seals',
        'bytes added, encrypted',
        'kept on units',
        'verify',
        'hash the image',
        'basis',
      ],
      rows,
    ),
    '',
  ];
}

function leaks(plan: TrustPlan): string[] {
  return [
    '## If a key leaks',
    '',
    ...table(
      ['key', 'its holder', 'forges alone', 'units', 'what can be done'],
      plan.leaks.map(({ key, names, gains, forges, reaches, repair }) => [
        names.length === 0 ? key : `${key} (${names.join(', ')})`,
        gains,
        forges ? 'yes' : 'no',
        reaches === null ? 'not known' : String(reaches),
        repair,
      ]),
    ),
    '',
  ];
}

function findings(plan: TrustPlan): string[] {
  if (plan.findings.length === 0) return ['## Findings', '', 'None.', ''];
  return [
    '## Findings',
    '',
    ...table(
      ['weight', 'finding', 'what it means', 'what to do', 'rule'],
      plan.findings.map(({ weight, says, means, next, rule }) => [weight, says, means, next, rule ?? '']),
    ),
    '',
  ];
}

function threats(plan: TrustPlan): string[] {
  return [
    '## Threats (RFC 9124 section 4.2)',
    '',
    ...table(
      ['threat', 'section', 'what it is', 'requirements', 'cover', 'by'],
      plan.threats.map(({ threat, section, about, requirements, cover, by }) => [
        `THREAT.${threat}`,
        section,
        about,
        requirements.join(', '),
        cover,
        by,
      ]),
    ),
    '',
  ];
}

function figures(plan: TrustPlan): string[] {
  return [
    '## Figures',
    '',
    ...table(
      ['figure', 'value', 'source', 'where it comes from'],
      plan.figures.map(({ name, value, unit, source, origin }) => [name, `${value} ${unit}`, source, origin]),
    ),
    '',
    'Between builds of one algorithm on one core lies a factor of ten: enter what you measured in figures.yaml.',
    '',
  ];
}

function signOff(): string[] {
  return [
    '## Cautions',
    '',
    ...CAUTIONS.map((caution) => `- ${caution}`),
    '',
    '## Signed off',
    '',
    ...table(
      ['name', 'role', 'date', 'signature'],
      [
        ['', 'security engineer', '', ''],
        ['', 'product owner', '', ''],
      ],
    ),
    '',
  ];
}

function table(header: readonly string[], rows: readonly (readonly string[])[]): string[] {
  const line = (cells: readonly string[]) => `| ${cells.map(cell).join(' | ')} |`;
  return [line(header), `|${header.map(() => '---').join('|')}|`, ...rows.map(line)];
}

/** A text that neither ends a cell nor starts markup of its own. */
function cell(text: string): string {
  return text.replaceAll(/\s+/g, ' ').replaceAll(/[\\|<>`[\]]/g, (found) => `\\${found}`);
}
