import { type Figure, figuresJson, figuresYaml, linkJson, readFigures } from '../../plan/index.ts';
import { readClass } from '../../workspace/index.ts';
import { EXIT, wrongUse } from '../exit.ts';
import type { Output } from '../output.ts';
import { openSession } from '../session.ts';
import { figureText } from '../show-cost.ts';
import type { Call } from '../spec.ts';

/** Shows every figure with its source, or writes a figures file to begin from. */
export async function run(call: Call): Promise<number> {
  const { workspace } = await openSession(call);
  const className = call.text('class');
  if (className !== undefined) await readClass(workspace, className);
  const book = await readFigures(workspace, call.text('figures'));
  const named = call.texts('link');
  const links = (named.length > 0 ? named : book.links).map((name) => book.link(name));
  const out = call.text('out');
  if (out !== undefined) {
    const names = links.map(({ name }) => name);
    if (!workspace.files.createNew(out, figuresYaml(book, names)))
      throw wrongUse(`${out} is there already and was left as it is`, 'name another file with --out');
    call.out.line(`wrote ${out}`);
  } else {
    table(call.out, 'units', book.unit(className));
    table(call.out, 'deltas', book.delta);
    for (const { name, about, delivery, figures } of links) {
      table(call.out, `${name}: ${about} (${delivery})`, figures);
    }
  }
  call.out.result({
    format: 'fieldseal.figures-shown/1',
    file: out ?? null,
    unit: figuresJson(book.unit(className)),
    delta: figuresJson(book.delta),
    links: links.map(linkJson),
  });
  return EXIT.done;
}

function table(out: Output, title: string, figures: Readonly<Partial<Record<string, Figure>>>): void {
  out.line(title);
  for (const [name, figure] of Object.entries(figures)) if (figure) out.fact(name, figureText(figure));
}
