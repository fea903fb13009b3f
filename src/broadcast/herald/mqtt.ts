import type { IClientOptions, MqttClient } from 'mqtt';
import { toHex } from '../../bytes/index.ts';
import { randomBytes } from '../../crypto/index.ts';
import { LARGEST_ANNOUNCEMENT } from '../announcement/announcement.ts';
import { BroadcastError } from '../error.ts';
import type { Herald } from './herald.ts';

/** A broker for MQTT 5 (OASIS, 2019), and how it is reached. */
export interface Broker {
  /** mqtt: or mqtts:, host and port. */
  readonly url: URL;
  readonly user: string | undefined;
  readonly password: Uint8Array | undefined;
  /** Certificates in PEM that the broker's must lead to; undefined: those that Node knows. */
  readonly authorities: string | undefined;
}

/** Whether a broker is heard, and why not. */
export interface BrokerNews {
  readonly heard: boolean;
  readonly says: string;
}

/** Listening, until it is closed. */
export interface Listening {
  close(): Promise<void>;
}

const PATIENCE_MS = 15_000;
const LARGEST_PACKET = LARGEST_ANNOUNCEMENT + 1024;
/** What the socket may give at once beside a packet. */
const LARGEST_READ = 65_536;
const MOST_UNANSWERED = 4;
/** A message is acknowledged, and the next one read, only so much later. */
const BREATH_MS = 100;
/** Agents come back at different moments, so that a broker that returns is not run over. */
const BACK_AFTER_MS = 2_000;
const BACK_SPREAD_MS = 4_000;
const LONGEST_EXPIRY_S = 0xffff_ffff;

/** Topic of the announcements of one class, and of one key where they are MACed. `name`: see `announcementName`. */
function topicOf(name: string): string {
  return `fieldseal/announcement/${name}`;
}

/** Connects to a broker for publishing. Throws `BroadcastError` where it cannot be reached or refuses. */
export async function openHerald(broker: Broker): Promise<Herald> {
  const client = await clientOf(broker, { reconnectPeriod: 0 });
  try {
    await firstConnection(client);
  } catch (error) {
    await client.endAsync(true);
    throw new BroadcastError(
      'broker',
      `${textOf(broker)}: ${saysOf(error)}. Nothing was announced`,
      'see that it runs, and that address, --mqtt-user, password and --mqtt-ca are those of the broker; or leave out --mqtt: units that poll hear it from the depot',
    );
  }
  let isGone = false;
  return {
    async publish(name, message, expiry) {
      const left = Math.ceil((expiry.getTime() - Date.now()) / 1000);
      try {
        await within(
          client.publishAsync(topicOf(name), Buffer.from(message), {
            qos: 1,
            retain: true,
            properties: {
              messageExpiryInterval: Math.min(Math.max(left, 1), LONGEST_EXPIRY_S),
              contentType: 'application/cose',
            },
          }),
        );
      } catch (error) {
        isGone = true;
        throw new BroadcastError(
          'broker',
          `${textOf(broker)} did not take the announcement for ${topicOf(name)}: ${saysOf(error)}. It is in the depot and counts; units that poll hear it there`,
          'let the user publish retained messages to that topic, and announce again',
        );
      }
    },
    // Ended politely it would wait for an answer that never comes.
    close: () => client.endAsync(isGone || !client.connected),
  };
}

/**
 * Listens to a broker for the announcements of all `names`, over one connection, coming back whenever it was gone; retained
 * messages make up for the time between. Whatever is published is handed on, unless it is longer than any announcement.
 */
export async function listen(
  broker: Broker,
  names: readonly string[],
  hands: { heard(message: Uint8Array, name: string): void; tell(news: BrokerNews): void },
): Promise<Listening> {
  const topics = new Map(names.map((name) => [topicOf(name), name]));
  const all = [...topics.keys()].join(', ');
  const client = await clientOf(broker, {
    reconnectPeriod: BACK_AFTER_MS + Math.random() * BACK_SPREAD_MS,
    reconnectOnConnackError: true,
    resubscribe: false,
  });
  let told: string | undefined;
  const tell = (heard: boolean, says: string) => {
    if (told !== says) hands.tell({ heard, says: `${textOf(broker)}: ${says}` });
    told = says;
  };
  client.on('connect', () => {
    client.subscribe([...topics.keys()], { qos: 1 }, (error, granted) => {
      const refused = granted?.some(({ qos }) => qos >= 128);
      if (error || refused) tell(false, error ? saysOf(error) : `it lets nobody listen to ${all}`);
      else tell(true, `listening to ${all}`);
    });
  });
  client.on('error', (error) => tell(false, saysOf(error)));
  client.on('close', () => told?.startsWith('listening') && tell(false, 'the connection ended'));
  client.handleMessage = (packet, done) => {
    const name = topics.get(packet.topic);
    if (name !== undefined && packet.payload.length <= LARGEST_ANNOUNCEMENT)
      hands.heard(Buffer.from(packet.payload), name);
    setTimeout(done, BREATH_MS);
  };
  boundPackets(client);
  return { close: () => client.endAsync(true) };
}

async function clientOf(
  { url, user, password, authorities }: Broker,
  more: IClientOptions,
): Promise<MqttClient> {
  const { default: mqtt } = await import('mqtt');
  const isTls = url.protocol === 'mqtts:';
  return mqtt.connect({
    protocol: isTls ? 'mqtts' : 'mqtt',
    host: url.hostname.replace(/^\[|\]$/g, ''),
    port: Number(url.port) || (isTls ? 8883 : 1883),
    protocolVersion: 5,
    clientId: `fieldseal-${toHex(randomBytes(8))}`,
    clean: true,
    connectTimeout: PATIENCE_MS,
    properties: { maximumPacketSize: LARGEST_PACKET, receiveMaximum: MOST_UNANSWERED },
    ...(user !== undefined && { username: user }),
    ...(password && { password: Buffer.from(password) }),
    ...(authorities !== undefined && { ca: authorities }),
    rejectUnauthorized: true,
    ...more,
  });
}

function firstConnection(client: MqttClient): Promise<void> {
  return within(
    new Promise((resolve, reject) => {
      client.once('connect', () => resolve());
      client.on('error', reject);
      client.once('close', () => reject(new Error('the connection ended')));
    }),
  );
}

/** A broker that sends a packet larger than was agreed is left before the packet is whole in memory. */
function boundPackets(client: MqttClient): void {
  let unread = 0;
  const watch = () => {
    const { stream } = client;
    unread = 0;
    stream.on('data', (piece: Uint8Array) => {
      unread += piece.length;
      if (unread <= LARGEST_PACKET + LARGEST_READ) return;
      stream.destroy(
        Object.assign(new Error('it sends more than an announcement has'), { code: 'packet-too-large' }),
      );
    });
  };
  client.on('packetreceive', () => {
    unread = 0;
  });
  client.on('reconnect', () => setImmediate(watch));
  watch();
}

async function within<T>(work: Promise<T>): Promise<T> {
  let timer: NodeJS.Timeout | undefined;
  const late = new Promise<never>((_, reject) => {
    timer = setTimeout(() => reject(new Error('no answer in time')), PATIENCE_MS);
  });
  try {
    return await Promise.race([work, late]);
  } finally {
    clearTimeout(timer);
  }
}

function textOf({ url }: Broker): string {
  return `the broker at ${url.host}`;
}

/** What went wrong, from the reason codes of MQTT 5 section 2.4 where the broker gave one. */
function saysOf(error: unknown): string {
  const { code, message } = error as { code?: unknown; message: string };
  if (code === 0x86 || code === 0x87)
    return `it does not let this user in, or not to this topic (reason code 0x${code.toString(16)}): user name or password is wrong, or a right is missing`;
  return message || String(code);
}
