import { PROCEDURES, PROTOCOL_VERSION, type ProcedureName } from '@longhold/core/exchange';
import { TRPCError } from '@trpc/server';
import type { Caller } from '../study/caller';
import { definition, publish } from '../study/definition';
import { readAudit } from '../study/read-audit';
import { devices, revoke, rotateToken, session } from '../study/devices';
import { enrol, invite } from '../study/enrolment';
import { pooled } from '../study/pooled';
import { pull } from '../study/pull';
import { push } from '../study/push';
import { Refusal } from '../study/refusal';
import { sheet } from '../study/sheet';
import { statistics } from '../study/statistics';
import { notJson, refusalOf, t } from './trpc';

/** The oldest protocol that this service still understands. */
export const OLDEST_PROTOCOL = 1;

/** A procedure of the table, open to the roles that the table names. */
function procedure<Name extends ProcedureName>(name: Name) {
  const { roles } = PROCEDURES[name];
  return t.procedure
    .use(async ({ next, getRawInput }) => {
      await getRawInput().catch(() => Promise.reject(notJson()));
      const result = await next();
      if (result.ok) return result;
      throw asRouterError(result.error);
    })
    .use(({ ctx, next }) => {
      if (roles === 'anyone') return next();
      const allowed: readonly string[] = roles;
      if (ctx.device === null || !allowed.includes(ctx.device.role)) {
        throw new Refusal('not-allowed', `This is for a member with the role ${allowed.join(' or ')}.`);
      }
      return next();
    });
}

/** Refusals keep their cause through the router, which would wrap them in a sentence of its own. */
function asRouterError(error: TRPCError): TRPCError {
  const cause = refusalOf(error);
  return new TRPCError({ code: error.code, message: cause.message, cause });
}

/** The caller of a procedure that is not open to anyone. */
function callerOf(ctx: {
  store: Caller['store'];
  now: Caller['now'];
  device: Caller['device'] | null;
}): Caller {
  const { store, now, device } = ctx;
  if (device === null) throw new Refusal('not-signed-in', 'Send the token of an enrolled device.');
  return { store, now, device };
}

const P = PROCEDURES;

/** Everything that can be asked of the service. All are POST: what is asked never stands in an address. */
export const syncRouter = t.router({
  protocol: procedure('protocol')
    .input(P.protocol.input)
    .output(P.protocol.answer)
    .mutation(() => ({ oldest: OLDEST_PROTOCOL, newest: PROTOCOL_VERSION })),
  enrol: procedure('enrol')
    .input(P.enrol.input)
    .output(P.enrol.answer)
    .mutation(({ ctx, input }) => enrol(ctx, input)),
  session: procedure('session')
    .input(P.session.input)
    .output(P.session.answer)
    .mutation(({ ctx }) => session(callerOf(ctx))),
  rotateToken: procedure('rotateToken')
    .input(P.rotateToken.input)
    .output(P.rotateToken.answer)
    .mutation(({ ctx }) => rotateToken(callerOf(ctx))),
  devices: procedure('devices')
    .input(P.devices.input)
    .output(P.devices.answer)
    .mutation(({ ctx }) => devices(callerOf(ctx))),
  revoke: procedure('revoke')
    .input(P.revoke.input)
    .output(P.revoke.answer)
    .mutation(({ ctx, input }) => revoke(callerOf(ctx), input)),
  invite: procedure('invite')
    .input(P.invite.input)
    .output(P.invite.answer)
    .mutation(({ ctx, input }) => invite(callerOf(ctx), input)),
  definition: procedure('definition')
    .input(P.definition.input)
    .output(P.definition.answer)
    .mutation(({ ctx }) => definition(callerOf(ctx))),
  publish: procedure('publish')
    .input(P.publish.input)
    .output(P.publish.answer)
    .mutation(({ ctx, input }) => publish(callerOf(ctx), input)),
  push: procedure('push')
    .input(P.push.input)
    .output(P.push.answer)
    .mutation(({ ctx, input }) => push(callerOf(ctx), input)),
  pull: procedure('pull')
    .input(P.pull.input)
    .output(P.pull.answer)
    .mutation(({ ctx, input }) => pull(callerOf(ctx), input)),
  statistics: procedure('statistics')
    .input(P.statistics.input)
    .output(P.statistics.answer)
    .mutation(({ ctx, input }) => statistics(callerOf(ctx), input)),
  pooled: procedure('pooled')
    .input(P.pooled.input)
    .output(P.pooled.answer)
    .mutation(({ ctx, input }) => pooled({ ...callerOf(ctx), pool: ctx.pool }, input)),
  sheet: procedure('sheet')
    .input(P.sheet.input)
    .output(P.sheet.answer)
    .mutation(({ ctx, input }) => sheet(callerOf(ctx), input)),
  audit: procedure('audit')
    .input(P.audit.input)
    .output(P.audit.answer)
    .mutation(({ ctx, input }) => readAudit(callerOf(ctx), input)),
});

/** The names of all procedures, for the address and for the log. */
export function isProcedure(name: string): name is ProcedureName {
  return Object.hasOwn(PROCEDURES, name);
}
