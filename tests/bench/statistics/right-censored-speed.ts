import type { SpeedCase } from './speed-case';

export const RIGHT_CENSORED_SPEED: readonly SpeedCase[] = [];
