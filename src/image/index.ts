/**
 * Images: firmware files as a linker or converter writes them (raw binary, Intel HEX, Motorola S-record, ELF),
 * read strictly, and laid out as the one flat image that goes into a slot of a device class. Large raw and ELF
 * files are never held in memory. Knows nothing of cryptography, files or manifests.
 */
export { IMAGE_ERROR_CODES, ImageError, type ImageErrorCode, type ImageWhere } from './errors.ts';
export { type FlatImage, imageForSlot, type LeftOut, layOut } from './lay-out.ts';
export { checkMemoryMap, type MapProblem } from './map-check.ts';
export {
  type Core,
  type DefaultMapOptions,
  defaultMemoryMap,
  type FlashGeometry,
  hasOneImage,
  linkRegion,
  type MemoryMap,
  type NamedRegion,
  type Region,
  type SlotShape,
} from './memory.ts';
export { type ReadImage, type ReadOptions, readImage } from './read-image.ts';
export { formatOfName, type ImageFormat, TITLES as FORMAT_TITLES } from './recognise.ts';
export type { Segment } from './segment.ts';
export { formatAddress, formatSize, parseSize } from './size.ts';
export type { VectorTable } from './vector-table.ts';
