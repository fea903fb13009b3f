import { CborMap, CborTag, encode } from '../cbor/index.ts';
import { LABEL } from '../cose/index.ts';
import { integratedUris, writeEnvelopeHead } from '../suit/index.ts';
import { SECURITY_VERSION_LABEL } from '../unit/index.ts';
import type { DeviceClass, Workspace } from '../workspace/index.ts';
import type { Certificate } from '../x509/index.ts';
import { signatureHeaders } from './blocks.ts';
import { buildManifest } from './manifest.ts';

/** One authentication block as far as its size goes. */
export type SealForm =
  | {
      readonly kind: 'signature';
      readonly algorithm: number;
      readonly signatureBytes: number;
      /** Signer first, the root left out. */
      readonly chain: readonly Certificate[];
    }
  | {
      readonly kind: 'mac';
      readonly algorithm: number;
      readonly tagBytes: number;
      readonly keyIdBytes: number;
    };

/** An envelope that is weighed before there is one. */
export interface EnvelopeForm {
  readonly version: string;
  readonly sequenceNumber: bigint;
  readonly securityVersion: number;
  /** In slot order. */
  readonly imageBytes: readonly number[];
  /** Bytes of the encryption info, where images are encrypted. */
  readonly encryptionInfoBytes: number | undefined;
  readonly seals: readonly SealForm[];
}

/** Sizes in bytes. */
export interface EnvelopeWeight {
  /** Everything but the images, as it is sent with the images inside. */
  readonly added: number;
  /** Of it: the authentication blocks. */
  readonly seals: number;
  /** Of it: the manifest. */
  readonly manifest: number;
  /** What units keep beside an image for the check at start-up. */
  readonly kept: number;
  /** How much of that they have room for. */
  readonly room: number;
}

const SIGN1_TAG = 18;
const MAC0_TAG = 17;
const FILLER = 0x55;

/** The size, to the byte, that an envelope of this form has when it is sealed. No key is opened and nothing is sealed. */
export function weighEnvelope(
  workspace: Workspace,
  deviceClass: DeviceClass,
  form: EnvelopeForm,
): EnvelopeWeight {
  const { memory, profile } = deviceClass;
  const digest = new Uint8Array(32).fill(FILLER);
  const images = form.imageBytes.map((size) => ({
    digest,
    flat: { size },
    input: { uri: undefined },
    delivered: { digest },
    encryption:
      form.encryptionInfoBytes === undefined
        ? undefined
        : {
            info: new Uint8Array(form.encryptionInfoBytes),
            digest,
            sizeBytes: size + profile.content.tagLength,
          },
  }));
  const manifest = buildManifest(
    { workspace, version: form.version },
    deviceClass,
    images,
    form.sequenceNumber,
  );
  const blocks = form.seals.map((seal) => blockOf(seal, form.securityVersion));
  const parts = { digest: manifest.payload, blocks, manifest: manifest.manifest, severed: manifest.severed };
  const integrated = integratedUris(memory.shape).map((key, i) => ({
    key,
    length: images[i]!.encryption?.sizeBytes ?? images[i]!.flat.size,
  }));
  const pieces = writeEnvelopeHead({ ...parts, integrated });
  return {
    added: pieces.reduce((sum, { length }) => sum + length, 0),
    seals: blocks.reduce((sum, { length }) => sum + length, 0),
    manifest: manifest.manifest.length,
    kept: writeEnvelopeHead({ ...parts, integrated: [] })[0]!.length,
    room: Math.floor(memory.envelopes.size / memory.slots.length),
  };
}

function blockOf(seal: SealForm, securityVersion: number): Uint8Array {
  const security = securityVersion === 0 ? [] : [[SECURITY_VERSION_LABEL, securityVersion] as const];
  if (seal.kind === 'mac') {
    const unprotected = new CborMap([[LABEL.kid, new Uint8Array(seal.keyIdBytes)]]);
    const headers = encode(new CborMap([[LABEL.alg, seal.algorithm], ...security]));
    return encode(new CborTag(MAC0_TAG, [headers, unprotected, null, new Uint8Array(seal.tagBytes)]));
  }
  const { protectedHeaders, unprotectedHeaders } = signatureHeaders({
    leaf: seal.chain[0]!,
    chain: seal.chain,
  });
  const headers = encode(new CborMap([[LABEL.alg, seal.algorithm], ...protectedHeaders, ...security]));
  const signature = new Uint8Array(seal.signatureBytes);
  return encode(new CborTag(SIGN1_TAG, [headers, new CborMap(unprotectedHeaders), null, signature]));
}
