import { PROCEDURES } from '@longhold/core/exchange';
import type { FastifyInstance, FastifyRequest } from 'fastify';
import type { DeviceRow } from '../store/sync-store';
import { notJson } from '../study/refusal';
import { push } from '../study/push';
import { callerOf, requireRole } from './admission';
import type { ServiceOptions } from './options';

/**
 * The route of `push`, the one question that is large and frequent. Its body stays bytes until the unpacker has it, so
 * that the thread which answers everyone need not read it. Refusals that it throws are answered by the server.
 */
export function servePush(
  rpc: FastifyInstance,
  path: string,
  {
    store,
    now,
    unpacker,
    deviceOf,
  }: Pick<ServiceOptions, 'store' | 'now' | 'unpacker'> & {
    /** Who asks, once the head of the request was read. */
    readonly deviceOf: (request: FastifyRequest) => DeviceRow | null;
  },
): void {
  rpc.removeContentTypeParser('application/json');
  rpc.addContentTypeParser('application/json', { parseAs: 'buffer' }, (_request, body, done) =>
    done(null, body),
  );
  rpc.post(path, async (request) => {
    const device = deviceOf(request);
    requireRole('push', device);
    const { body } = request;
    if (!(body instanceof Uint8Array)) throw notJson();
    const answer = await push(callerOf({ store, now, device }), await unpacker.unpack(body));
    return { result: { data: PROCEDURES.push.answer.parse(answer) } };
  });
}
