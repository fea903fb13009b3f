import type { SecretSource } from '../keys/index.ts';

/**
 * Asks for each passphrase once and holds it in the memory of this process, for work that goes on while nobody sits there. PINs are
 * asked for each time: the token counts wrong ones.
 */
export function heldSecrets(source: SecretSource): SecretSource {
  const held = new Map<string, Uint8Array>();
  return {
    async passphrase(request) {
      const key = `${request.purpose} ${request.keyName}`;
      const known = held.get(key);
      if (known) return new Uint8Array(known);
      const given = await source.passphrase(request);
      held.set(key, new Uint8Array(given));
      return given;
    },
    pin: (request) => source.pin(request),
  };
}
