// The reference pages that are written from the program's own tables. `npm run docs` writes them; a test fails where they
// are stale.
import { COMMANDS, GROUPS } from '../src/cli/commands.ts';
import type { CommandSpec, OptionSpec } from '../src/cli/spec.ts';
import { REFUSALS, STEPS } from '../src/unit/index.ts';
import { forgeriesPage } from './docs/forgeries.ts';
import { limitsPage } from './docs/limits.ts';
import { publishedKeysHeader } from './docs/published-keys.ts';
import { refusalHeader } from './docs/refusal-header.ts';

/** Every written page: its path below the repository, and its text. */
export function writtenPages(): ReadonlyMap<string, string> {
  return new Map([
    ['docs/refusals.md', refusalsPage()],
    ['docs/commands.md', commandsPage()],
    ['docs/limits.md', limitsPage()],
    ['docs/forgeries.md', forgeriesPage()],
    ['device/include/fieldseal/refusals.h', refusalHeader()],
    ['device/src/published-keys.h', publishedKeysHeader()],
  ]);
}

function refusalsPage(): string {
  const sections = STEPS.map((step) => {
    const rows = REFUSALS.filter((refusal) => refusal.step === step.name).map(
      ({ code, says, meaning, next, source }) =>
        `| \`${code}\` | ${says} | ${meaning} | ${next} | ${source} |`,
    );
    return [
      `## ${step.number}. ${step.name}`,
      '',
      `${step.asks} A refusal here leaves ${step.leaves}.`,
      '',
      '| code | says | meaning | next | source |',
      '|---|---|---|---|---|',
      ...rows,
      '',
    ].join('\n');
  });
  return `# What a unit can say no with

Written from the refusal table in \`src/unit\` by \`npm run docs\`. The list is closed: a unit refuses with one of these ${REFUSALS.length}
codes, each at exactly one step, and the steps are judged in this order. [M], [IM] and the other tags are the documents
named in [standards](standards.md).

${sections.join('\n')}`;
}

function commandsPage(): string {
  const groups = GROUPS.map(([group, title]) => {
    const specs = COMMANDS.filter((spec) => spec.group === group);
    return [`## ${title}`, '', ...specs.map(commandSection)].join('\n');
  });
  return `# Commands

Written from the command table in \`src/cli/table\` by \`npm run docs\`. Every command also takes \`--workspace <dir>\`,
\`--json\`, \`--passphrase-fd <number>\` and \`--help\`.

Exit status: 0 done or accepted, 1 refused, 2 wrong use, 3 could not be done, 4 incomplete (nothing refuted, but something
needed was absent).

${groups.join('\n')}`;
}

function commandSection(spec: CommandSpec): string {
  const args = (spec.args ?? []).map((arg) => (arg.optional ? ` [${arg.name}]` : ` <${arg.name}>`)).join('');
  const rows = [
    ...(spec.args ?? []).map((arg) => `| \`${arg.name}\` | ${arg.about} |`),
    ...(spec.options ?? []).map((option) => `| \`${optionText(option)}\` | ${optionAbout(option)} |`),
  ];
  const table = rows.length > 0 ? ['| | |', '|---|---|', ...rows, ''] : [];
  const notes = spec.notes ? ['```text', spec.notes, '```', ''] : [];
  return [`### fieldseal ${spec.name}${args}`, '', `${capital(spec.summary)}.`, '', ...table, ...notes].join(
    '\n',
  );
}

function optionText({ name, value }: OptionSpec): string {
  return value === undefined ? `--${name}` : `--${name} <${value}>`;
}

function optionAbout({ about, choices, required, repeat }: OptionSpec): string {
  const more = [
    ...(required ? ['required'] : []),
    ...(repeat ? ['may be given several times'] : []),
    ...(choices ? [`one of ${choices.join(', ')}`] : []),
  ];
  return more.length > 0 ? `${about} (${more.join('; ')})` : about;
}

function capital(text: string): string {
  return text.charAt(0).toUpperCase() + text.slice(1);
}
