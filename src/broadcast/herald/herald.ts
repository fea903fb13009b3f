/** Port: carries announcements to units beside the depot. It is trusted with nothing; units judge what comes. */
export interface Herald {
  /**
   * Puts a sealed announcement in place of the one before, until `expiry`, for units that listen now or later. `name`: see
   * `announcementName`. Throws `BroadcastError`.
   */
  publish(name: string, message: Uint8Array, expiry: Date): Promise<void>;
  close(): Promise<void>;
}
