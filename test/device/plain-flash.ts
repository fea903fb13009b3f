/** Flash in memory that takes what NOR takes, without wear yet, and begins with any content: programmed where it is not erased. */

import type { FlashGeometry } from '../../src/image/index.ts';
import { type Flash, FlashError } from '../../src/unit/index.ts';

/** Flash over `content`, which it changes. */
export function plainFlash(content: Uint8Array, geometry: FlashGeometry): Flash {
  const { erase_page: page, write_unit: unit, erased_value: erased, endurance } = geometry;
  const programmed = new Set<number>();
  const wear = new Map<number, number>();
  const isBlank = (at: number) => content.subarray(at, at + unit).every((byte) => byte === erased);
  return {
    size: content.length,
    geometry,
    read: (offset, length) => content.slice(offset, offset + length),
    erase(offset, length) {
      for (let at = offset; at < offset + length; at += page) {
        const worn = (wear.get(at) ?? 0) + 1;
        if (worn > endurance) throw new FlashError('worn-out', at, `the page at ${at} is worn out`);
        wear.set(at, worn);
        content.fill(erased, at, at + page);
        for (let each = at; each < at + page; each += unit) programmed.delete(each);
      }
    },
    program(offset, bytes) {
      for (let at = offset; at < offset + bytes.length; at += unit) {
        if (programmed.has(at) || !isBlank(at))
          throw new FlashError('not-erased', at, `the write unit at ${at} is not erased`);
        programmed.add(at);
        content.set(bytes.subarray(at - offset, at - offset + unit), at);
      }
    },
  };
}
