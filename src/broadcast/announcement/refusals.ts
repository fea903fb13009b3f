/** Every way in which a unit takes no notice of an announcement; each is told in its report. */
export const REFUSALS = {
  malformed: 'it is no announcement: its form is not sound',
  'type-other': 'it was signed as something else than an announcement',
  authority: 'whoever signed it may not announce for this unit',
  'signature-wrong': 'its signature or MAC does not fit',
  'class-other': 'it is for units of another class',
  'counter-old': 'it is one that was heard already, or an older one: it was repeated or held back',
  'not-yet': 'it is for later',
  expired: 'its time is over: it was held back on the way',
} as const;

export type AnnouncementRefusal = keyof typeof REFUSALS;
