/** The threats of RFC 9124 section 4.2, by the names the RFC gives them. */

/** One threat. Where the table of forgeries cannot embody it, `outside` says why. */
export interface Threat {
  readonly name: string;
  readonly section: string;
  readonly about: string;
  readonly outside?: string;
}

export const THREATS = [
  { name: 'IMG.EXPIRED', section: '4.2.1', about: 'old firmware, genuine once, is sent again' },
  {
    name: 'IMG.EXPIRED.OFFLINE',
    section: '4.2.2',
    about: 'a unit that was away for long gets firmware that is no longer the latest',
  },
  { name: 'IMG.INCOMPATIBLE', section: '4.2.3', about: 'firmware for other units' },
  { name: 'IMG.FORMAT', section: '4.2.4', about: 'a payload taken for another kind of payload' },
  { name: 'IMG.LOCATION', section: '4.2.5', about: 'a payload that lands in the wrong place' },
  { name: 'NET.REDIRECT', section: '4.2.6', about: 'a unit is sent to somebody else’s payload' },
  { name: 'NET.ONPATH', section: '4.2.7', about: 'somebody on the way changes what passes' },
  {
    name: 'IMG.REPLACE',
    section: '4.2.8',
    about: 'what was verified is replaced on the unit before it runs',
  },
  { name: 'IMG.NON_AUTH', section: '4.2.9', about: 'firmware that nobody with a right to it vouches for' },
  {
    name: 'UPD.WRONG_PRECURSOR',
    section: '4.2.10',
    about: 'a difference applied to another image than its base',
  },
  { name: 'UPD.UNAPPROVED', section: '4.2.11', about: 'firmware by somebody who may not decide on it' },
  { name: 'IMG.DISCLOSURE', section: '4.2.12', about: 'firmware read by whom it is not meant for' },
  { name: 'MFST.OVERRIDE', section: '4.2.13', about: 'one manifest overrides what another one lays down' },
  { name: 'MFST.EXPOSURE', section: '4.2.14', about: 'a manifest read by whom it is not meant for' },
  { name: 'IMG.EXTRA', section: '4.2.15', about: 'something is added behind what was sealed' },
  { name: 'KEY.EXPOSURE', section: '4.2.16', about: 'a signing key in somebody else’s hands' },
  {
    name: 'MFST.MODIFICATION',
    section: '4.2.17',
    about: 'a manifest or payload changed before it is signed',
  },
  { name: 'MFST.TOCTOU', section: '4.2.18', about: 'a manifest changed between its check and its use' },
] as const satisfies readonly Threat[];

export type ThreatName = (typeof THREATS)[number]['name'];
