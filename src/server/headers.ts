import { createMiddleware } from 'hono/factory';
import type { DeskEnv } from './context.ts';

/** Nothing from elsewhere, nothing inline, in nobody's frame (Content Security Policy Level 3). */
const POLICY = [
  "default-src 'none'",
  "script-src 'self'",
  "style-src 'self'",
  "img-src 'self'",
  "connect-src 'self'",
  "base-uri 'none'",
  "form-action 'none'",
  "frame-ancestors 'none'",
].join('; ');

/** Headers that every answer bears. */
export const securityHeaders = createMiddleware<DeskEnv>(async (c, next) => {
  c.header('content-security-policy', POLICY);
  c.header('x-content-type-options', 'nosniff');
  c.header('referrer-policy', 'no-referrer');
  c.header('cross-origin-opener-policy', 'same-origin');
  c.header('cross-origin-resource-policy', 'same-origin');
  c.header('permissions-policy', 'camera=(), geolocation=(), microphone=(), payment=(), usb=()');
  if (c.env.desk.open) c.header('strict-transport-security', 'max-age=31536000');
  await next();
});
