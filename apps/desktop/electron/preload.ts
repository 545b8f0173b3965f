import { contextBridge, ipcRenderer } from 'electron';
import { CALL_CHANNEL, type WindowBridge } from './bridge';

contextBridge.exposeInMainWorld('longhold', {
  call: (envelope) => ipcRenderer.invoke(CALL_CHANNEL, envelope),
} satisfies WindowBridge);
