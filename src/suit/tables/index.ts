export { type ArgumentType, COMMANDS, type CommandRow, HIGHEST_CUSTOM_CODE } from './commands.ts';
export {
  COMMON_KEYS,
  DIGEST_ALGORITHMS,
  type DigestRow,
  type ElementRow,
  type ElementType,
  ENVELOPE_KEYS,
  MANIFEST_KEYS,
} from './elements.ts';
export { WAIT_EVENTS, type WaitEventRow } from './events.ts';
export { PARAMETERS, type ParameterRow, type ParameterType } from './parameters.ts';
export {
  ALL_EXTENSIONS,
  EXTENSIONS,
  type Extension,
  type Extensions,
  NO_EXTENSIONS,
  type Row,
  runsWith,
} from './row.ts';
export { COMPONENT_TEXT_KEYS, TEXT_KEYS } from './text.ts';
