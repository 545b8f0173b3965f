import { PROCEDURES, PROTOCOL_VERSION, type ProcedureName } from '@longhold/core/exchange';
import { TRPCError } from '@trpc/server';
import { definition, publish } from '../study/definition';
import { readAudit } from '../study/read-audit';
import { devices, revoke, rotateToken, session } from '../study/devices';
import { enrol, invite } from '../study/enrolment';
import { pooled } from '../study/pooled';
import { removeMember } from '../study/remove-member';
import { pull } from '../study/pull';
import { notJson } from '../study/refusal';
import { sheet } from '../study/sheet';
import { statistics } from '../study/statistics';
import { callerOf, requireRole } from './admission';
import { refusalOf, t } from './trpc';

/** The oldest protocol that this service still understands. */
export const OLDEST_PROTOCOL = 1;

/** A procedure of the table, open to the roles that the table names. */
function procedure<Name extends ProcedureName>(name: Name) {
  return t.procedure
    .use(async ({ next, getRawInput }) => {
      await getRawInput().catch(() => Promise.reject(notJson()));
      const result = await next();
      if (result.ok) return result;
      throw asRouterError(result.error);
    })
    .use(({ ctx, next }) => {
      requireRole(name, ctx.device);
      return next();
    });
}

/** Refusals keep their cause through the router, which would wrap them in a sentence of its own. */
function asRouterError(error: TRPCError): TRPCError {
  const cause = refusalOf(error);
  return new TRPCError({ code: error.code, message: cause.message, cause });
}

const P = PROCEDURES;

/**
 * Everything that can be asked of the service but `push`, which has a route of its own (`push-route.ts`). All are POST:
 * what is asked never stands in an address.
 */
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
  removeMember: procedure('removeMember')
    .input(P.removeMember.input)
    .output(P.removeMember.answer)
    .mutation(({ ctx, input }) => removeMember(callerOf(ctx), input)),
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
