import { contextBridge, ipcRenderer } from 'electron';
import { CALL_CHANNEL, PRINT_CHANNEL, type WindowBridge } from './bridge';

contextBridge.exposeInMainWorld('longhold', {
  call: (envelope) => ipcRenderer.invoke(CALL_CHANNEL, envelope),
  print: (html) => ipcRenderer.invoke(PRINT_CHANNEL, html),
} satisfies WindowBridge);
