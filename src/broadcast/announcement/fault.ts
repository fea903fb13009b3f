/** An announcement that is not as it must be. `offset`: where in its payload. */
export class AnnouncementFault extends Error {
  override readonly name = 'AnnouncementFault';
  readonly code = 'announcement-malformed';
  readonly offset: number;

  constructor(says: string, offset: number) {
    super(says);
    this.offset = offset;
  }
}
