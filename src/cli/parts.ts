import type { ByteSource } from '../bytes/index.ts';
import type { ComponentInput } from '../release/index.ts';
import { type FileSource, fileSource } from '../workspace/index.ts';
import { wrongUse } from './exit.ts';
import type { Call } from './spec.ts';

/** Images of further components that a call names, each once. */
export function componentsOf(call: Call): ComponentInput[] {
  const all = call.texts('component').map((text) => {
    const at = text.indexOf('=');
    if (at > 0 && at < text.length - 1) return { name: text.slice(0, at), path: text.slice(at + 1) };
    throw wrongUse(
      `--component ${text}: expected a name and a file`,
      'for example --component radio=radio.bin',
    );
  });
  const twice = all.find(({ name }, i) => all.findIndex((each) => each.name === name) !== i);
  if (!twice) return all;
  throw wrongUse(`--component ${twice.name} is given twice`, 'give each component once');
}

/** Files beside an envelope, open. */
export interface OpenParts {
  readonly components: ReadonlyMap<string, ByteSource>;
  readonly dependencies: readonly ByteSource[];
  close(): void;
}

/** Opens the files that a call names beside an envelope. */
export function openParts(call: Call): OpenParts {
  const files: FileSource[] = [];
  const open = (path: string): FileSource => {
    const file = fileSource(path);
    files.push(file);
    return file;
  };
  const close = () => {
    for (const file of files) file.close();
  };
  try {
    const components = new Map(componentsOf(call).map(({ name, path }) => [name, open(path)] as const));
    return { components, dependencies: call.texts('dependency').map(open), close };
  } catch (error) {
    close();
    throw error;
  }
}
