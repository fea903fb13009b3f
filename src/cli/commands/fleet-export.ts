import { fromUtf8 } from '../../bytes/index.ts';
import { filesOn, requireNoRecord } from '../../workspace/index.ts';
import { EXIT } from '../exit.ts';
import { withFleet } from '../fleet.ts';
import { unitJson } from '../show-fleet.ts';
import type { Call } from '../spec.ts';

const PIECE_CHARACTERS = 1 << 18;

/** Writes every unit, one JSON object a line. */
export function run(call: Call): Promise<number> {
  const path = call.args[0]!;
  if (call.flag('force')) requireNoRecord(path);
  return withFleet(call, async (desk) => {
    const output = filesOn().beginOutput(path, { force: call.flag('force') });
    let [text, units] = ['', 0];
    try {
      for await (const unit of desk.store.exportUnits()) {
        text += `${JSON.stringify(unitJson(unit, desk))}\n`;
        units += 1;
        if (text.length < PIECE_CHARACTERS) continue;
        output.write(fromUtf8(text));
        text = '';
      }
      output.write(fromUtf8(text));
      output.settle();
      output.commit();
    } finally {
      output.abandon();
    }
    call.out.line(`${units} units written to ${path}`);
    call.out.result({ format: 'fieldseal.fleet-exported/1', file: path, units });
    return EXIT.done;
  });
}
