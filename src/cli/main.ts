/**
 * The command line: reads arguments, calls the rooms, prints. Each command is one file in `commands/`, loaded
 * only when it runs, so that help appears at once.
 */
import { Command, CommanderError, Help, Option } from 'commander';
import { makeCall } from './call.ts';
import { COMMANDS, GROUPS } from './commands.ts';
import { CommandFailure, EXIT } from './exit.ts';
import { Output } from './output.ts';
import type { CommandSpec, OptionSpec } from './spec.ts';

const VERSION = '0.1.0';
// The parser's complaints begin as all of ours do.
const MISUSE = {
  outputError: (text: string, write: (text: string) => void) =>
    write(text.replace(/^error: /, 'fieldseal: ')),
};

function buildProgram(): Command {
  const program = new Command('fieldseal')
    .description('Only genuine firmware gets onto a unit, and only genuine firmware runs.')
    .version(VERSION)
    .enablePositionalOptions()
    .helpCommand(false)
    .configureHelp({ formatHelp: withoutCommandList })
    .addHelpText('after', `\n${overview()}`)
    .exitOverride()
    .configureOutput(MISUSE)
    .showHelpAfterError('  see: fieldseal --help');
  addSharedOptions(program);
  for (const spec of COMMANDS) addCommand(program, spec);
  return program;
}

/** The overview below lists the commands by group. The parser must know them all the same: it suggests from them. */
function withoutCommandList(program: Command, help: Help): string {
  help.visibleCommands = () => [];
  return Help.prototype.formatHelp.call(help, program, help);
}

function overview(): string {
  const width = Math.max(...COMMANDS.map((spec) => spec.name.length));
  const lines = GROUPS.flatMap(([group, title]) => [
    `${title}:`,
    ...COMMANDS.filter((spec) => spec.group === group).map(
      (spec) => `  ${spec.name.padEnd(width)}  ${spec.summary}`,
    ),
    '',
  ]);
  return [
    ...lines,
    'Exit status: 0 done or accepted, 1 refused, 2 wrong use, 3 could not be done, 4 incomplete.',
  ].join('\n');
}

function addCommand(program: Command, spec: CommandSpec): void {
  const words = spec.name.split(' ');
  const parent = words.slice(0, -1).reduce((at, word) => childNamed(at, word), program);
  const command = new Command(words.at(-1)!)
    .description(spec.summary)
    .usage(usageOf(spec))
    .exitOverride()
    .configureOutput(MISUSE)
    .showHelpAfterError(`  see: fieldseal ${spec.name} --help`);
  for (const argument of spec.args ?? []) {
    command.argument(argument.optional ? `[${argument.name}]` : `<${argument.name}>`, argument.about);
  }
  for (const option of spec.options ?? []) command.addOption(toOption(option));
  addSharedOptions(command);
  if (spec.notes) command.addHelpText('after', `\n${spec.notes}`);
  command.action(async (...given: unknown[]) => {
    const args = given.slice(0, spec.args?.length ?? 0).filter((arg): arg is string => arg !== undefined);
    process.exitCode = await runCommand(spec, args, optionsOf(command));
  });
  parent.addCommand(command);
}

/** What every command takes. The words before it take them too, so that they may stand in front. */
function addSharedOptions(command: Command): Command {
  return command
    .option('--workspace <dir>', 'the workspace to use (default: found upward from here)')
    .option('--json', 'one JSON document instead of lines for people')
    .option('--passphrase-fd <number>', 'read the passphrase from this file descriptor');
}

/** Options of a command and of the words before it; the nearest counts. */
function optionsOf(command: Command): Record<string, unknown> {
  return { ...(command.parent && optionsOf(command.parent)), ...command.opts() };
}

/** What must be given, in one line: options that are required stand in it by name. */
function usageOf({ options = [], args = [] }: CommandSpec): string {
  const required = options
    .filter((option) => option.required)
    .map(({ name, value }) => `--${name} <${value}>`);
  const named = args.map(({ name, optional }) => (optional ? `[${name}]` : `<${name}>`));
  return [...named, ...required, '[options]'].join(' ');
}

/** The group command for a first word, such as `class`, made when first met. */
function childNamed(parent: Command, word: string): Command {
  const known = parent.commands.find((command) => command.name() === word);
  if (known) return known;
  const group = new Command(word)
    .enablePositionalOptions()
    .exitOverride()
    .configureOutput(MISUSE)
    .helpCommand(false)
    .showHelpAfterError(`  see: fieldseal ${word} --help`);
  addSharedOptions(group).description(
    COMMANDS.filter((spec) => spec.name.startsWith(`${word} `))
      .map((spec) => spec.name)
      .join(', '),
  );
  parent.addCommand(group);
  return group;
}

function toOption(spec: OptionSpec): Option {
  const option = new Option(spec.value ? `--${spec.name} <${spec.value}>` : `--${spec.name}`, spec.about);
  if (spec.required) option.makeOptionMandatory();
  if (spec.choices) option.choices([...spec.choices]);
  if (spec.repeat) option.argParser((value: string, before: string[] = []) => [...before, value]);
  return option;
}

async function runCommand(
  spec: CommandSpec,
  args: string[],
  options: Record<string, unknown>,
): Promise<number> {
  const out = new Output(options.json === true);
  try {
    const { run } = await spec.load();
    if (options.force === true) await spareRecords(options);
    return await run(makeCall(args, options, out, COMMANDS));
  } catch (error) {
    return await reportFailure(error, out);
  }
}

/** With --force too, no output takes the place of a key or a record. */
async function spareRecords({ out, outJson }: Record<string, unknown>): Promise<void> {
  const { requireNoRecord } = await import('../workspace/index.ts');
  for (const path of [out, outJson]) if (typeof path === 'string') requireNoRecord(path);
}

async function reportFailure(error: unknown, out: Output): Promise<number> {
  const failure = error instanceof CommandFailure ? error : (await import('./failures.ts')).toFailure(error);
  out.failure(failure.code, failure.message, failure.hint);
  return failure.status;
}

async function main(argv: readonly string[]): Promise<void> {
  try {
    await buildProgram().parseAsync(asOption(argv));
  } catch (error) {
    if (!(error instanceof CommanderError)) throw error;
    process.exitCode = error.exitCode === 0 ? EXIT.done : EXIT.wrongUse;
    if (process.exitCode !== 0 && argv.includes('--json')) {
      new Output(true).result({
        format: 'fieldseal.error/1',
        error: { code: 'wrong-use', message: misuseOf(error), hint: null },
      });
    }
  }
}

function misuseOf({ code, message }: CommanderError): string {
  return code === 'commander.help' ? 'no command was named' : message.replace(/^error: /, '');
}

/** `fieldseal help seal` is `fieldseal seal --help`. */
function asOption(argv: readonly string[]): string[] {
  const [node, script, first, ...rest] = argv as [string, string, ...string[]];
  return first === 'help' ? [node, script, ...rest, '--help'] : [...argv];
}

// A reader that closes early (head, less) is no failure of ours: the work goes on and ends with its own status. A
// result that could not be written is one: whoever reads a cut document must not read status 0 or 1 beside it.
let unwritten: NodeJS.ErrnoException | undefined;
process.stdout.on('error', (error: NodeJS.ErrnoException) => {
  if (error.code !== 'EPIPE') unwritten ??= error;
});
process.stderr.on('error', () => {}); // There is nowhere left to tell of it.
process.on('exit', () => {
  if (!unwritten) return;
  process.exitCode = EXIT.notDone;
  const why = unwritten.code === 'ENOSPC' ? 'the disk is full' : `the system says ${unwritten.code}`;
  new Output(false).failure(
    'output-unwritten',
    `the result could not be written to standard output: ${why}`,
    'What the command did is done; look before you run it again.',
  );
});

await main(process.argv);
