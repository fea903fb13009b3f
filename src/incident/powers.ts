import type { KeyKind, KeySubject } from './subject.ts';

/** What a leak of a kind of key means. */
export interface Powers {
  /** What its holder can make that is believed. */
  readonly forges: (subject: KeySubject) => string[];
  /** What no command repairs. */
  readonly beyondRepair: (subject: KeySubject) => string[];
  /** The incident to open; undefined where there is none of its own. */
  readonly incident: string | undefined;
}

const count = (units: readonly unknown[]) => `${units.length} ${units.length === 1 ? 'unit' : 'units'}`;
const STAYS =
  'an image that was installed with it goes on starting until another takes its place: ask units to prove what they run';
const SHUT =
  'a unit that kept a forgery under the highest number there is takes no later release: only service opens it again';
const UNHEARD =
  'a unit that does not hear the trust update, asleep or in store, believes the key until it does';

function* withoutPolicy({ units }: KeySubject): Generator<string> {
  const deaf = units.filter(({ takesTrust }) => !takesTrust);
  if (deaf.length > 0)
    yield `${count(deaf)} take no trust updates (no policy area): only service reaches them`;
}

function* alone({ classes }: KeySubject): Generator<string> {
  for (const { name, policy } of classes) {
    if (policy && policy.needed > 1) yield `not alone for class ${name}: its units ask for ${policy.text}`;
  }
}

function symmetric({ units }: KeySubject): string[] {
  return [
    `nothing in the field repairs it: ${count(units)} believe whoever holds the key, and an update under it proves nothing`,
    'no trust update, revocation list or retirement exists below a shared key',
    'only service at each unit helps: provision it anew with another key, or as a unit of an asymmetric class',
  ];
}

export const POWERS: Readonly<Record<KeyKind, Powers>> = {
  root: {
    forges: ({ classes }) => [
      `certificates for signers of its own, and so any release for ${classes.map(({ name }) => name).join(', ') || 'no class yet'}`,
      'trust updates that deny your signers, raise their generation or the security floor; not the retirement of a root',
      'revocation lists',
    ],
    beyondRepair: (subject) => {
      const alone = subject.units.filter(({ anchors }) => !anchors.some(({ spare }) => spare));
      return [
        ...(alone.length > 0
          ? [
              alone.length === 1
                ? '1 unit holds no spare root: only service can give it another'
                : `${count(alone)} hold no spare root: only service can give them another`,
            ]
          : []),
        ...withoutPolicy(subject),
        STAYS,
        SHUT,
        UNHEARD,
      ];
    },
    incident: 'root-leak',
  },
  'spare root': {
    forges: () => [
      'trust signers below it, and with them the retirement of the root in use; after that any release',
      'it is worth as much as the root itself',
    ],
    beyondRepair: ({ units }) => [
      `${count(units)} hold it, and no trust update takes a spare root away: only service does`,
      STAYS,
    ],
    incident: undefined,
  },
  signer: {
    forges: (subject) => [
      `releases for ${subject.classes.map(({ name }) => name).join(', ') || 'no class of this workspace'}, under any number above the last`,
      ...alone(subject),
      'no trust update, and nothing for other classes',
    ],
    beyondRepair: (subject) => [...withoutPolicy(subject), STAYS, SHUT, UNHEARD],
    incident: 'signer-leak',
  },
  'trust signer': {
    forges: () => [
      'trust updates: deny your signers, raise their generation or the security floor, as far as something on board still starts',
      'no firmware',
    ],
    beyondRepair: () => [
      'what units took is never taken back: a signer that it denied stays denied, except below a spare root that retires the root',
      UNHEARD,
    ],
    incident: 'signer-leak',
  },
  'announcement signer': {
    forges: () => [
      'announcements: units fetch, wait or stay silent on its word, which costs airtime and energy',
      'no firmware: what a unit fetches goes through every check',
    ],
    beyondRepair: () => [UNHEARD],
    incident: 'signer-leak',
  },
  'class key': {
    forges: () => [
      'releases for every unit that holds it; whoever reads it out of one unit holds it too',
      'announcements for them, whose key is made from this one',
    ],
    beyondRepair: symmetric,
    incident: 'class-key-leak',
  },
  'cohort key': {
    forges: () => ['releases for every unit of the cohort, and for no other cohort'],
    beyondRepair: symmetric,
    incident: 'cohort-key-leak',
  },
  'content key': {
    forges: () => [
      'nothing: it authenticates nothing. Its holder reads every image that was encrypted under it',
    ],
    beyondRepair: () => [
      'images that were sent encrypted under it can be read for ever, by whoever kept them',
    ],
    incident: undefined,
  },
  'station key': {
    forges: () => [
      'nothing by itself: it opens the secret keys that were wrapped for this station, and those do',
    ],
    beyondRepair: () => [
      'every class and cohort key that left wrapped under it counts as leaked, with all that follows',
    ],
    incident: 'class-key-leak',
  },
  approver: {
    forges: () => [
      'approvals of sealing requests; no release without a signer, and none that a unit looks at',
    ],
    beyondRepair: () => [],
    incident: undefined,
  },
  'unit keys': {
    forges: () => [
      'reports and proofs in the name of this one unit',
      'it reads images that were encrypted for this unit by its own key',
    ],
    beyondRepair: () => ['the unit keeps its keys for life: scrap it, or stop believing what it says'],
    incident: undefined,
  },
};
