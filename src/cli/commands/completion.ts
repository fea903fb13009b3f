import { EXIT, wrongUse } from '../exit.ts';
import type { Call, CommandSpec, OptionSpec } from '../spec.ts';

const COMMON: readonly OptionSpec[] = [
  { name: 'workspace', value: 'dir', about: 'the workspace to use' },
  { name: 'json', about: 'one JSON document instead of lines for people' },
  { name: 'passphrase-fd', value: 'number', about: 'read the passphrase from this file descriptor' },
  { name: 'help', about: 'help for this command' },
];
type Commands = readonly CommandSpec[];
const SCRIPTS: ReadonlyMap<string, (commands: Commands) => string> = new Map([
  ['bash', bashScript],
  ['zsh', zshScript],
  ['fish', fishScript],
]);

/** Prints a completion script made from the command table. */
export function run(call: Call): number {
  const script = SCRIPTS.get(call.args[0]!);
  if (!script) throw wrongUse(`no completion for ${call.args[0]}`, 'known shells: bash, zsh, fish');
  const text = script(call.commands);
  call.out.line(text.trimEnd());
  call.out.result({ format: 'fieldseal.completion/1', shell: call.args[0]!, script: text });
  return EXIT.done;
}

function optionsOf(spec: CommandSpec): readonly OptionSpec[] {
  return [...(spec.options ?? []), ...COMMON];
}

/** What may follow each word sequence: `''` -> first words, `class` -> add, show, list, ... */
function nextWords(commands: Commands): Map<string, Set<string>> {
  const next = new Map<string, Set<string>>();
  for (const { name } of commands) {
    const words = name.split(' ');
    words.forEach((word, index) => {
      const before = words.slice(0, index).join(' ');
      next.set(before, (next.get(before) ?? new Set()).add(word));
    });
  }
  return next;
}

function choicesOf(spec: CommandSpec): readonly OptionSpec[] {
  return optionsOf(spec).filter((option) => option.choices);
}

function bashScript(commands: Commands): string {
  const words = [...nextWords(commands)].map(
    ([before, after]) => `    '${before}') words='${[...after].join(' ')}' ;;`,
  );
  const options = commands.map(
    (spec) =>
      `    '${spec.name}') words='${optionsOf(spec)
        .map((option) => `--${option.name}`)
        .join(' ')}' ;;`,
  );
  const choices = commands.flatMap((spec) =>
    choicesOf(spec).map(
      (option) => `    '${spec.name} --${option.name}') words='${option.choices!.join(' ')}' ;;`,
    ),
  );
  return `# bash completion for fieldseal
_fieldseal() {
  local current="\${COMP_WORDS[COMP_CWORD]}" previous="\${COMP_WORDS[COMP_CWORD-1]}" command='' words='' i
  for ((i = 1; i < COMP_CWORD; i++)); do
    case "\${COMP_WORDS[i]}" in -*) break ;; esac
    case "$command" in *' '*) break ;; esac
    command="\${command:+$command }\${COMP_WORDS[i]}"
  done
  case "$command" in
${commands
  .filter((spec) => !spec.name.includes(' '))
  .map((spec) => `    '${spec.name} '*) command='${spec.name}' ;;`)
  .join('\n')}
  esac
  case "$command $previous" in
${choices.join('\n')}
  esac
  if [ -z "$words" ]; then
    case "$current" in
    -*) case "$command" in
${options.join('\n')}
      esac ;;
    *) case "$command" in
${words.join('\n')}
      esac ;;
    esac
  fi
  COMPREPLY=($(compgen -W "$words" -- "$current"))
  [ \${#COMPREPLY[@]} -gt 0 ] && return
  local IFS=$'\\n'
  COMPREPLY=($(compgen -f -- "$current"))
}
complete -o filenames -F _fieldseal fieldseal
`;
}

function zshScript(commands: Commands): string {
  // As a file of $fpath it is loaded by the first Tab, which must be answered too.
  return `#compdef fieldseal
autoload -U +X bashcompinit && bashcompinit
${bashScript(commands)}[ "$funcstack[1]" = _fieldseal ] && _bash_complete -o filenames -F _fieldseal
`;
}

function fishScript(commands: Commands): string {
  const quoted = (text: string) => `'${text.replace(/\\/g, '\\\\').replace(/'/g, "\\'")}'`;
  const lines = [...nextWords(commands)].flatMap(([before, after]) =>
    [...after].map((word) => {
      const spec = commands.find((row) => row.name === (before ? `${before} ${word}` : word));
      const about = spec ? ` -d ${quoted(spec.summary)}` : '';
      return `complete -c fieldseal -f -n ${condition(before)} -a ${word}${about}`;
    }),
  );
  for (const spec of commands) {
    for (const option of optionsOf(spec)) {
      const values = option.choices
        ? ` -x -a ${quoted(option.choices.join(' '))}`
        : option.value
          ? ' -r'
          : '';
      lines.push(
        `complete -c fieldseal -n ${condition(spec.name)} -l ${option.name}${values} -d ${quoted(option.about)}`,
      );
    }
  }
  return `# fish completion for fieldseal\n${lines.join('\n')}\n`;
}

function condition(command: string): string {
  if (command === '') return '__fish_use_subcommand';
  return `'${command
    .split(' ')
    .map((word) => `__fish_seen_subcommand_from ${word}`)
    .join('; and ')}'`;
}
