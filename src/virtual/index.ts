/** Virtual units: the logic of `src/unit` put under power over a store, with the secrets that its record names. */
export { attesterOf } from './attester.ts';
export { type AuthenticatedPurpose, unitAuthenticator } from './authenticator.ts';
export { noise, type PoweredUnit, type PowerOptions, powerUp } from './power-up.ts';
