/** Measures HSS/LMS beside the bare hash it is made of, in turns in one process, and tells the figures as JSON. */
import { hash, randomBytes } from 'node:crypto';
import {
  type HssShape,
  HssTrees,
  hssCost,
  hssShapeText,
  hssSpki,
  parseHssShape,
  readPublicKey,
  verifySignature,
} from '../../src/crypto/index.ts';

const SHAPES = ['H10/W4', 'H10/W8', 'N24/H10/W4', 'N24/H10/W8', 'H10/W4,H10/W4'];
const ROUNDS = 21;
const MILLISECONDS = 30;
// One SHA-256 block with its padding, as every step of a chain is for n = 32 (RFC 8554 section 4.3).
const CHAIN_INPUT = 55;
const block = new Uint8Array(CHAIN_INPUT);

console.log(JSON.stringify(SHAPES.map((text) => measure(parseHssShape(text)!))));

function measure(shape: HssShape) {
  const trees = new HssTrees({ shape, master: new Uint8Array(randomBytes(32)) });
  const started = performance.now();
  const key = readPublicKey(hssSpki(trees.publicKey())!)!;
  const madeMs = performance.now() - started;
  const { makeHashes, signHashes, verifyHashes, signatureBytes } = hssCost(shape);
  let leaf = 0n;
  const messages = Array.from({ length: 64 }, () => new Uint8Array(randomBytes(64)));
  const signed = messages.map((message) => ({ message, signature: trees.sign(leaf++, message) }));
  const rounds = Array.from({ length: ROUNDS }, () => {
    const hashMs = each(bareHash);
    const signMs = each((i) => trees.sign(BigInt(i % 1024), messages[i % 64]!));
    const verifyMs = each((i) => {
      const { message, signature } = signed[i % 64]!;
      if (!verifySignature(key, message, signature)) throw new Error('a good signature was refused');
    });
    return { hashMs, signMs, verifyMs };
  });
  const middle = (value: (round: (typeof rounds)[number]) => number) =>
    rounds.map(value).sort((a, b) => a - b)[Math.floor(ROUNDS / 2)]!;
  return {
    parameters: hssShapeText(shape),
    signatureBytes,
    hashesPerSecond: 1000 / middle(({ hashMs }) => hashMs),
    madeMs,
    makeRatio: madeMs / (makeHashes / shape.length) / middle(({ hashMs }) => hashMs),
    signMs: middle(({ signMs }) => signMs),
    signRatio: middle(({ signMs, hashMs }) => signMs / (signHashes * hashMs)),
    verifyMs: middle(({ verifyMs }) => verifyMs),
    verifyRatio: middle(({ verifyMs, hashMs }) => verifyMs / (verifyHashes * hashMs)),
  };
}

function bareHash(): void {
  hash('sha256', block, 'hex');
}

/** Milliseconds that one call takes. */
function each(call: (i: number) => void): number {
  let calls = 0;
  const start = performance.now();
  for (; performance.now() - start < MILLISECONDS; ) {
    for (let i = 0; i < 8; i++) call(calls++);
  }
  return (performance.now() - start) / calls;
}
