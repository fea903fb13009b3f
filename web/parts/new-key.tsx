import { Problem } from '../api.ts';
import { Field } from './field.tsx';

type Custody = 'file' | 'token';

/** What of a step's act makes a key. */
export interface MadeHere {
  /** What its name is the name of. */
  readonly named: string;
  /** Where its key may live, the usual place first. */
  readonly custodies: readonly Custody[];
}

/** A new key as it is being typed. */
export interface NewKeyForm {
  readonly name: string;
  readonly custody: Custody;
  readonly passphrase: string;
  readonly again: string;
  readonly uri: string;
  readonly pin: string;
  readonly people: string;
  readonly backups: string;
}

const PLACES: Readonly<Record<Custody, string>> = {
  file: 'an encrypted file of this workspace',
  token: 'a token (PKCS#11)',
};

/** Nothing typed yet. */
export function noKey({ custodies }: MadeHere): NewKeyForm {
  const empty = { name: '', passphrase: '', again: '', uri: '', pin: '', people: '', backups: '' };
  return { ...empty, custody: custodies[0]! };
}

/** What is wrong before anything is asked of the server. */
export function wrongAtOnce({ custody, passphrase, again }: NewKeyForm): Problem | undefined {
  if (custody === 'token' || passphrase === again) return undefined;
  return new Problem(0, {
    code: 'passphrase-mismatch',
    message: 'the two passphrases differ',
    hint: 'Nothing was done. Type it again in both fields.',
    field: 'again',
  });
}

/** The part of the request that makes it. */
export function newKeyRequest(form: NewKeyForm): object {
  const { name, custody, passphrase, uri, pin, people, backups } = form;
  const key = custody === 'file' ? { custody, passphrase } : { custody, uri, pin };
  return { name, key, people: namesIn(people), backups: namesIn(backups) };
}

interface Props {
  readonly makes: MadeHere;
  readonly form: NewKeyForm;
  readonly problem: Problem | undefined;
  change(part: Partial<NewKeyForm>): void;
}

/** Name, place and protection of a key that is to be made, and what its ceremony record is to say. */
export function NewKey({ makes, form, problem, change }: Props) {
  const at = (field: string) => (problem?.field === field ? problem : undefined);
  return (
    <>
      <Field
        label={`Name of ${makes.named}`}
        value={form.name}
        problem={at('make.name')}
        set={(name) => change({ name })}
      />
      <label>
        Where its key is to live
        <select
          value={form.custody}
          onChange={(event) => change({ custody: event.currentTarget.value as Custody })}
        >
          {makes.custodies.map((custody) => (
            <option key={custody} value={custody} selected={custody === form.custody}>
              {PLACES[custody]}
            </option>
          ))}
        </select>
      </label>
      {form.custody === 'file' ? (
        <>
          <Field
            label="Passphrase of the new key"
            secret
            value={form.passphrase}
            problem={at('make.key.passphrase')}
            set={(passphrase) => change({ passphrase })}
          />
          <Field
            label="The same passphrase again"
            secret
            value={form.again}
            problem={at('again')}
            set={(again) => change({ again })}
          />
        </>
      ) : (
        <>
          <Field
            label="Token in which it is made (pkcs11: URI)"
            placeholder="pkcs11:token=LABEL"
            value={form.uri}
            problem={at('make.key.uri')}
            set={(uri) => change({ uri })}
          />
          <Field
            label="PIN of that token"
            secret
            value={form.pin}
            problem={at('make.key.pin')}
            set={(pin) => change({ pin })}
          />
        </>
      )}
      <Field
        label="Who else is present, with commas between"
        required={false}
        value={form.people}
        set={(people) => change({ people })}
      />
      <Field
        label="Where backups lie, with commas between"
        required={false}
        value={form.backups}
        set={(backups) => change({ backups })}
      />
    </>
  );
}

function namesIn(text: string): string[] {
  return text
    .split(',')
    .map((name) => name.trim())
    .filter((name) => name !== '');
}
