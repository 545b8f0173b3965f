import { answerRequests } from '../thread/answer-requests';
import { unpackOrRefuse } from './unpacker';

answerRequests(unpackOrRefuse);
