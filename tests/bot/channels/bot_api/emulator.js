// The package telegram-test-api as a Bot API to test against: node emulator.js PORT
//
// Routes, storage and the client side (POST /sendMessage, /getUpdates ...) are the package's own. This file
// stands before it and adds what it lacks: update offsets with redelivery and long polling, webhooks with
// their secret, brought again until they are answered, whole answers, a token that is refused, and faults to
// order. Keep it to the loopback address.
const {TelegramServer} = require('telegram-test-api/lib/telegramServer');
const express = require('express');

const server = new TelegramServer({port: Number(process.argv[2]), host: '127.0.0.1', storeTimeout: 3600});
const body = [express.json(), express.urlencoded({extended: true})];
const pending = {};  // by token: updates that no later offset has confirmed yet
const hooks = {};    // by token: {url, secret} of its webhook
const faults = [];   // {method, http, answer, times, cut, hang}: how the next calls of a method fail
const calls = [];    // every call but getUpdates, as {token, method, at [ms], body}
const front = express();

const queue = (token) => (pending[token] ||= []);
const seconds = () => Math.floor(Date.now() / 1000);

// What the package leaves out of updates: fields of a tap, and seconds instead of milliseconds.
const format = TelegramServer.formatUpdate;
TelegramServer.formatUpdate = (update) => {
  const whole = format(update);
  if (whole.callback_query) {
    whole.callback_query.chat_instance = '1';
    whole.callback_query.message = {message_id: 1, date: seconds(), ...whole.callback_query.message};
  }
  return whole;
};

front.get('/_calls', (_request, response) => response.json(calls));
front.post('/_fault', body, (request, response) => {
  faults.push({times: 1, http: 200, ...request.body});
  response.json({ok: true});
});
// The bot's messages in a chat that were not yet read, once there are at least `count` of them.
front.post('/_read', body, (request, response) => {
  const {token, chatId, count} = request.body;
  const look = () => {
    const unread = server.storage.botMessages.filter(
        (one) => one.botToken === token && String(one.message.chat_id) === String(chatId) && !one.isRead);
    if (unread.length < count) return setTimeout(look, 10);
    response.json(unread.map((one) => (one.isRead = true, one.message)));
  };
  look();
});
// Any update that the package's client cannot make, such as an edited message or a photo.
front.post('/_update', body, (request, response) => {
  const {token, ...update} = request.body;
  const update_id = server.updateId++;
  queue(token).push({update_id, ...update});
  response.json({ok: true, update_id});
});

front.use('/bot:token/:method', body, (request, response, next) => {
  const {token, method} = request.params;
  if (token.endsWith(':refused')) {
    return response.status(401).json({ok: false, error_code: 401, description: 'Unauthorized'});
  }
  if (method !== 'getUpdates') calls.push({token, method, at: Date.now(), body: request.body || {}});
  const index = faults.findIndex((fault) => fault.method === method);
  if (index >= 0) {
    const fault = faults[index];
    if (--fault.times <= 0) faults.splice(index, 1);
    if (fault.hang) return;
    return fault.cut ? request.socket.destroy() : response.status(fault.http).json(fault.answer);
  }
  if (method === 'setWebhook') {
    const {url, secret_token} = request.body;
    if (!url) delete hooks[token];
    else {
      const fresh = !hooks[token];
      hooks[token] = {url, secret: secret_token};
      if (fresh) bring(token);
    }
    return response.json({ok: true, result: true});
  }
  if (method === 'deleteWebhook') {
    delete hooks[token];
    return response.json({ok: true, result: true});
  }
  if (method === 'setMyCommands') return response.json({ok: true, result: true});
  if (method === 'getUpdates' && hooks[token]) {
    const description = "Conflict: can't use getUpdates method while webhook is active";
    return response.status(409).json({ok: false, error_code: 409, description});
  }
  return method === 'getUpdates' ? poll(token, request, response) : answer(method, request, response, next);
});

// Brings what is pending to the webhook, one by one, each until it is answered.
async function bring(token) {
  for (; hooks[token]; await new Promise((resolve) => setTimeout(resolve, 10))) {
    const updates = queue(token);
    updates.push(...server.getUpdates(token));
    if (!updates.length) continue;
    const {url, secret} = hooks[token];
    const headers = {'Content-Type': 'application/json', 'X-Telegram-Bot-Api-Secret-Token': secret};
    const answer = await fetch(url, {method: 'POST', headers, body: JSON.stringify(updates[0])}).catch(() => null);
    if (answer && answer.ok) updates.shift();
  }
}

// Hands out what is pending until an offset confirms it, waiting for up to `timeout` seconds.
function poll(token, request, response) {
  const given = {...request.query, ...request.body};
  const offset = Number(given.offset || 0);
  const until = Date.now() + Number(given.timeout || 0) * 1000;
  const look = () => {
    const updates = queue(token);
    updates.push(...server.getUpdates(token));
    while (updates.length && updates[0].update_id < offset) updates.shift();
    if (updates.length || Date.now() >= until) return response.json({ok: true, result: updates});
    if (!request.socket.destroyed) setTimeout(look, 10);
  };
  look();
}

// Completes the package's answers, and answers the methods it does not know.
function answer(method, request, response, next) {
  const given = request.body || {};
  if (method === 'sendPhoto') {
    request.resume();
    const chat = {id: 1, type: 'private'};
    const photo = [{file_id: 'f', file_unique_id: 'u', width: 1, height: 1}];
    return response.json({ok: true, result: {message_id: server.messageId++, date: seconds(), chat, photo}});
  }
  const json = response.json.bind(response);
  response.json = (whole) => {
    if (whole && whole.ok) {
      if (method === 'getMe') whole.result.is_bot = true;
      if (method === 'sendMessage') whole.result.date = seconds();
      if (method.startsWith('editMessage')) whole.result = true;
      if (whole.result === null) whole.result = true;
    }
    return json(whole);
  };
  next();
}

front.use(server.webServer);
server.webServer = front;
server.start().then(() => console.log('ready'));
process.on('SIGTERM', () => server.stop().then(() => process.exit(0)));
