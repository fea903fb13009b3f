import { fromUtf8 } from '../bytes/index.ts';
import type { ComponentIdentifier } from './components.ts';

/** The component that runs. */
export const MAIN_COMPONENT: ComponentIdentifier = [fromUtf8('main')];
/** Where a staged image waits before it is copied. */
export const STAGING_COMPONENT: ComponentIdentifier = [fromUtf8('staging')];

/** What is being fetched where no memory holds it: it passes through decryption into the slot that is free. */
export const DOWNLOAD_COMPONENT: ComponentIdentifier = [fromUtf8('download')];
/** What runs while a release is installed: read, never written. A delta is applied to it. */
export const PRECURSOR_COMPONENT: ComponentIdentifier = [fromUtf8('precursor')];
