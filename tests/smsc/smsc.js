// The package smpp as an SMSC to test against: node smsc.js [KEY.pem CERT.pem]
//
// Sessions and PDUs are the package's own. Orders come in as lines of JSON, what happens goes out as such:
//   {"do": "start"}, {"do": "stop"}       open or close the port (always the same), with all sessions
//   {"do": "drop"}                        cut every session
//   {"do": "look"}                        nothing: all that happened before has been told by then
//   {"do": "deliver", "pdu": {...}}       bring a text or a receipt; "hex" is its short_message as octets
//   {"do": "raw", "hex": "..."}           write octets as they are
//   {"do": "unbind"}                      take leave
//   {"do": "fault", "on": COMMAND, ...}   the next requests of a kind: "status", "drop" or "silent", "times"
const {readFileSync} = require('fs');
const {createInterface} = require('readline');
const smpp = require('smpp');

const [key, cert] = process.argv.slice(2).map((file) => readFileSync(file));
const sessions = new Set();
const faults = [];
let server;
let port = 0;
let taken = 0;

const tell = (event) => console.log(JSON.stringify(event));
const hex = (octets) => Buffer.from(octets || []).toString('hex');

// How this request is to fail, if it is.
function faulty(command) {
  const index = faults.findIndex((fault) => fault.on === command);
  if (index < 0) return {};
  const fault = faults[index];
  if (--fault.times <= 0) faults.splice(index, 1);
  return fault;
}

function answer(session, pdu, fields) {
  const {status, drop, silent} = faulty(pdu.command);
  if (drop) return session.socket.destroy();
  if (silent) return undefined;
  return session.send(pdu.response(status ? {command_status: status} : fields));
}

function serve(session) {
  sessions.add(session);
  session.on('close', () => { sessions.delete(session); tell({happened: 'closed'}); });
  session.on('error', () => session.socket.destroy());
  session.on('bind_transceiver', (pdu) => {
    const login = {system_id: pdu.system_id, password: pdu.password, version: pdu.interface_version};
    tell({happened: 'bind', ...login});
    if (pdu.password !== 'secret') return session.send(pdu.response({command_status: smpp.ESME_RINVPASWD}));
    return answer(session, pdu, {system_id: 'SMSC'});
  });
  session.on('enquire_link', (pdu) => { tell({happened: 'enquire_link'}); answer(session, pdu, {}); });
  session.on('unbind', (pdu) => { tell({happened: 'unbind'}); session.send(pdu.response()); session.close(); });
  session.on('generic_nack', (pdu) => tell({happened: 'generic_nack', status: pdu.command_status}));
  session.on('enquire_link_resp', () => tell({happened: 'enquire_link_resp'}));
  session.on('submit_sm', (pdu) => {
    const {message, udh} = pdu.short_message;
    tell({
      happened: 'submit', at: Date.now(), to: pdu.destination_addr, from: pdu.source_addr, ton: pdu.source_addr_ton,
      coding: pdu.data_coding, receipt: pdu.registered_delivery, udh: udh && udh.map(hex),
      text: Buffer.isBuffer(message) ? hex(message) : message,
    });
    answer(session, pdu, {message_id: String(++taken).padStart(8, '0')});
  });
}

function start() {
  server = key ? smpp.createServer({key, cert}, serve) : smpp.createServer({}, serve);
  server.listen(port, '127.0.0.1', () => {
    port = server.address().port;
    tell({happened: 'started', port});
  });
}

function stop() {
  server.close(() => tell({happened: 'stopped'}));
  sessions.forEach((session) => session.socket.destroy());
}

function deliver({pdu, hex: octets}) {
  const [session] = sessions;
  if (octets !== undefined) pdu.short_message = Buffer.from(octets, 'hex');
  session.deliver_sm(pdu, (reply) => tell({happened: 'answered', text: pdu.short_message, status: reply.command_status}));
}

const orders = {
  look: () => {},
  start,
  stop,
  deliver,
  drop: () => sessions.forEach((session) => session.socket.destroy()),
  raw: (order) => sessions.forEach((session) => session.socket.write(Buffer.from(order.hex, 'hex'))),
  unbind: () => sessions.forEach((session) => session.unbind()),
  fault: (order) => faults.push({times: 1, ...order}),
};
createInterface({input: process.stdin}).on('line', (line) => {
  const order = JSON.parse(line);
  orders[order.do](order);
  tell({happened: 'done'});
}).on('close', () => process.exit(0));
start();
