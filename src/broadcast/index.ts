/**
 * Broadcast: from a sealed payload to a field that runs it. Announcements say what is offered where, to whom and for how
 * long; a depot serves what they name. A payload stays safe whatever happens to either: units check it all the same.
 */
export { Agent, type AgentEvent, type AgentPorts, type AgentUnit } from './agent/agent.ts';
export { type Attended, attend, attendOnce, type Rhythm } from './agent/attend.ts';
export { Gate } from './agent/gate.ts';
export { Outbox, type OutboxEvent, type OutboxPorts, REPORT_ANSWER } from './agent/outbox.ts';
export { type AnnounceRequest, announce, announcementNames } from './announce.ts';
export {
  type Announcement,
  encodeAnnouncement,
  readAnnouncement,
} from './announcement/announcement.ts';
export { AnnouncementFault } from './announcement/fault.ts';
export { type AnnouncementVerdict, type Heard, judgeAnnouncement } from './announcement/judge.ts';
export type { Offer, OfferedFile } from './announcement/offered.ts';
export { drawnAt, inReach, type Reach } from './announcement/reach.ts';
export type { AnnouncementRefusal } from './announcement/refusals.ts';
export {
  ANNOUNCEMENT_TYPE,
  type AnnouncementSigner,
  macAnnouncement,
  signAnnouncement,
} from './announcement/seal.ts';
export { nextOffer } from './announcement/stone.ts';
export { Depot } from './depot/depot.ts';
export { Holding } from './depot/holding.ts';
export { type ServeOptions, serveDepot } from './depot/serve.ts';
export { BroadcastError } from './error.ts';
export type { Herald } from './herald/herald.ts';
export { Latest } from './herald/latest.ts';
export { type Broker, type BrokerNews, type Listening, listen, openHerald } from './herald/mqtt.ts';
export { clearCaution, imagesOf, type Offered, offerOf, type Weighed, weighOffer } from './offer.ts';
export { releaseOnRecord } from './on-record.ts';
