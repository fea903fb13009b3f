/** Encryption infos that no sealer makes, item by item (RFC 9052 section 5.1). */
import { CborMap, CborTag, encode } from '../../src/cbor/index.ts';

const A128CTR = -65534;
const recipient = [new Uint8Array(0), new CborMap([[1, -3]]), new Uint8Array(24)];

export const COSE_FORMS = {
  withoutIv: encode(new CborTag(96, [new Uint8Array(0), new CborMap([[1, A128CTR]]), null, [recipient]])),
};
