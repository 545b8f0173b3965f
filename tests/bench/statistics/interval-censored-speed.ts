import type { SpeedCase } from './speed-case';

export const INTERVAL_CENSORED_SPEED: readonly SpeedCase[] = [];
