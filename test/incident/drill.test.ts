import { describe, expect, it } from 'vitest';
import { DRILLS, type Play, Stage, type StageFiles } from '../../src/incident/index.ts';

const files: StageFiles = { copy: () => {}, image: () => {}, forget: () => {} };
const DONE = { status: 0, json: { version: '1.1.0', steps: [] }, told: '' };
const REFUSED = { status: 1, json: { refusal: { code: 'signer-denied' } }, told: 'no' };

describe('a drill', () => {
  it.each(Object.keys(DRILLS))(
    '%s: does not hold where everything is accepted, or everything refused',
    (kind) => {
      for (const answer of [DONE, REFUSED]) {
        const stage = new Stage(() => answer, files);
        DRILLS[kind]!(stage);
        expect(stage.holds).toBe(false);
        expect(stage.moves.length).toBeGreaterThan(5);
      }
    },
  );

  it.each(Object.keys(DRILLS))(
    '%s: has an attacker or a fault before the answer, and a proof at its end',
    (kind) => {
      const stage = new Stage(() => DONE, files);
      DRILLS[kind]!(stage);
      const told = stage.moves.map(({ what }) => what);
      const opened = told.indexOf('opens the incident');
      expect(opened).toBeGreaterThan(0);
      expect(told.slice(opened).some((what) => what.includes('runs the genuine release'))).toBe(true);
    },
  );

  it('tells each move as it ends, and a preparation only where it fails', () => {
    const heard: string[] = [];
    const play: Play = (words) => (words[0] === 'root' ? REFUSED : DONE);
    const stage = new Stage(play, files, ({ what, holds }) => heard.push(`${what}: ${holds}`));
    stage.prepare('class add vent');
    stage.prepare('root create');
    stage.move('seals', 'seal x');
    expect(heard).toEqual(['preparation: false', 'seals: true']);
  });
});
