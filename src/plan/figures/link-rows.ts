import type { FigureRow } from './figure.ts';

const row = (unit: string, least: number, most: number, about: string): FigureRow => ({
  unit,
  least,
  most,
  about,
});
const whole = (unit: string, least: number, most: number, about: string): FigureRow => ({
  ...row(unit, least, most, about),
  whole: true,
});

/** Every figure of a link. A link has either `rate` or the four figures of a chirp modem, from `spreading_factor` on. */
export const LINK_ROWS = {
  payload: whole('B', 1, 65_535, 'usable bytes of a frame, fragment header included'),
  fragment_header: whole('B', 0, 64, 'bytes of each frame that number the fragment'),
  rate: row('bit/s', 1, 1e10, 'bits a second as they arrive in practice'),
  spreading_factor: whole('', 7, 12, 'chirps a symbol, as a power of two'),
  bandwidth: row('Hz', 7_800, 2_000_000, 'bandwidth of the chirp'),
  coding_rate: whole('', 1, 4, 'n of the code rate 4/(4+n)'),
  preamble: whole('symbols', 6, 65_535, 'symbols before the header'),
  frame_overhead: whole('B', 0, 1_000, 'bytes that the link adds to each frame'),
  duty_cycle: row('', 1e-6, 1, 'share of the time in which the sender may be on air'),
  redundancy: row('', 0, 10, 'additional coded fragments, as a share of the fragments'),
  loss: row('', 0, 0.99, 'chance that a frame is lost'),
  receive_current: row('mA', 0, 10_000, 'current while the receiver is on'),
  supply: row('V', 0.5, 60, 'supply of the receiver'),
  tariff: row('/MiB', 0, 1e6, 'price of a mebibyte, in whatever money you count in'),
  air_price: row('/h', 0, 1e6, 'price of an hour of the sender’s time on air'),
} as const satisfies Record<string, FigureRow>;

export type LinkFigure = keyof typeof LINK_ROWS;
