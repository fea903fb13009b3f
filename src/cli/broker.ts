import type { Broker } from '../broadcast/index.ts';
import { fromUtf8 } from '../bytes/index.ts';
import { readSecretLine } from '../keys/index.ts';
import { filesOn } from '../workspace/index.ts';
import { wrongUse } from './exit.ts';
import type { Call } from './spec.ts';

const OPTIONS = ['mqtt-user', 'mqtt-password-fd', 'mqtt-ca'];
const THIS_MACHINE = /^(localhost|127(\.\d+){3}|\[::1\])$/;

/** The broker that --mqtt names, and how to reach it; undefined without. */
export function brokerOf(call: Call): Broker | undefined {
  const text = call.text('mqtt');
  if (text === undefined) {
    const alone = OPTIONS.find((name) => call.text(name) !== undefined);
    if (alone) throw wrongUse(`--${alone} needs --mqtt`, 'for example: --mqtt mqtts://broker.example');
    return undefined;
  }
  const url = addressOf(text);
  const user = call.text('mqtt-user');
  if (user === undefined && call.text('mqtt-password-fd') !== undefined)
    throw wrongUse('--mqtt-password-fd needs --mqtt-user', 'a password is that of a user');
  const password = user === undefined ? undefined : passwordOf(call);
  const authorities = call.text('mqtt-ca');
  if (password && url.protocol === 'mqtt:' && !THIS_MACHINE.test(url.hostname))
    throw wrongUse(
      `--mqtt ${text}: the password would cross the network in clear`,
      'use mqtts:, or a broker on this machine',
    );
  if (authorities !== undefined && url.protocol === 'mqtt:')
    throw wrongUse('--mqtt-ca needs an address that begins with mqtts:', 'without TLS nothing is certified');
  return {
    url,
    user,
    password,
    authorities: authorities === undefined ? undefined : filesOn().readText(authorities),
  };
}

function addressOf(text: string): URL {
  const url = URL.canParse(text) ? new URL(text) : undefined;
  if (url?.password)
    throw wrongUse('--mqtt: a password does not belong into an address', 'set FIELDSEAL_MQTT_PASSWORD');
  const bare = url && ['', '/'].includes(url.pathname) && !url.username && !url.search && !url.hash;
  if (bare && url.hostname && ['mqtt:', 'mqtts:'].includes(url.protocol)) return url;
  throw wrongUse(
    `--mqtt ${text}: not an address of a broker`,
    'for example mqtts://broker.example or mqtt://127.0.0.1:1883; the user goes into --mqtt-user',
  );
}

function passwordOf(call: Call): Uint8Array | undefined {
  const fd = call.count('mqtt-password-fd');
  if (fd !== undefined) return readSecretLine(fd, 'mqtt-password');
  const text = process.env.FIELDSEAL_MQTT_PASSWORD;
  return text === undefined ? undefined : fromUtf8(text);
}
