'use strict';
// The page of the board. It gets pieces of the page and signs of life from the bench, counts
// times on by this screen's own steady clock, and dims all of it when the signs stay away.
(() => {
  const root = document.documentElement;
  const oldAfter = Number(root.dataset.oldAfter); // ms
  const slow = 3000; // ms: an answer that took longer tells no clock
  const apart = 1500; // ms: so far may this screen's two clocks drift apart between two signs of life
  const kept = 24; // signs of life from which the clock of the bench is told
  const byID = (id) => document.getElementById(id);

  let offsets = []; // this screen's steady clock less that of the bench, ms
  let heard = null; // the last sign of life
  let have = '';
  let source = null;
  let closed = false;
  let flip = false;

  const steady = () => performance.now();
  const bench = () => steady() - Math.min(...offsets);

  // What is left in words, as the bench has them.
  const passed = (ms) => (ms < 0 ? ['+', Math.floor(-ms / 1000)] : ['', Math.ceil(ms / 1000)]);
  const two = (n) => String(n).padStart(2, '0');
  const brief = (ms) => {
    const [sign, s] = passed(ms);
    const m = Math.floor(s / 60);
    if (s < 60) return `${sign}${s} s`;
    if (m < 60) return `${sign}${m} min`;
    if (m < 600) return `${sign}${Math.floor(m / 60)} h ${two(m % 60)}`;
    if (m < 6000) return `${sign}${Math.floor(m / 60)} h`;
    return `${sign}${Math.floor(m / 1440)} d`;
  };
  const digits = (ms) => {
    const [sign, s] = passed(ms);
    const m = Math.floor(s / 60);
    if (s < 60) return [`${sign}${s}`, 's'];
    if (s < Number(root.dataset.fine)) return [`${sign}${m}:${two(s % 60)}`, 'min'];
    if (m < 60) return [`${sign}${m}`, 'min'];
    if (Math.abs(ms) >= 36e6 && m < 2880) return [`${sign}${Math.floor(m / 60)}h`, ''];
    if (m < 2880) return [`${sign}${Math.floor(m / 60)}h${two(m % 60)}`, ''];
    return [`${sign}${Math.floor(m / 1440)}d`, ''];
  };
  const age = (s) => {
    const m = Math.floor(s / 60);
    if (s < 60) return `${s} s`;
    if (m < 60) return `${m} min ${two(s % 60)} s`;
    return `${Math.floor(m / 60)} h ${two(m % 60)} min`;
  };

  const put = (el, text) => {
    if (el && el.textContent !== text) el.textContent = text;
  };

  // What is too long for its tile is written smaller.
  const fit = (time) => {
    const line = time.parentElement;
    if (!line.classList.contains('first')) return;
    const long = `${time.textContent.length} ${line.clientWidth}`;
    if (line.dataset.fit === long) return;
    let part = 1;
    line.style.fontSize = '';
    for (let i = 0; i < 3 && line.scrollWidth > line.clientWidth; i++) {
      part *= Math.floor((line.clientWidth / line.scrollWidth) * 98) / 100;
      line.style.fontSize = `calc(var(--big) * ${part})`;
    }
    line.dataset.fit = long;
  };

  // Times run only while the news is fresh; else the hour stands there to which they lead.
  const times = (fresh) => {
    const now = fresh ? bench() : 0;
    for (const el of document.querySelectorAll('time[data-due]')) {
      const [n, u] = el.children;
      if (!fresh) {
        put(n, el.dataset.at);
        put(u, el.dataset.word);
        fit(el);
        continue;
      }
      let left = Number(el.dataset.due) - now;
      if (el.dataset.ahead && left < 0) left = 0; // what comes next is the bench's to say
      const about = el.dataset.about ? '≈' : '';
      if (el.dataset.far) {
        const [d, unit] = digits(left);
        put(n, about + d);
        put(u, unit);
        fit(el);
      } else {
        put(n, about + brief(left));
        put(u, '');
      }
    }
    const wall = fresh ? new Date(heard.wall + now - heard.at) : null;
    put(byID('clock'), wall ? `${two(wall.getUTCHours())}:${two(wall.getUTCMinutes())}` : '');
  };

  // How old the news is, ms: by the steady clock, or by the clock of the day where the steady
  // one stood still while this screen slept.
  const oldBy = () => Math.max(bench() - heard.seen, Date.now() - heard.date);
  const jumped = () => Math.abs(Date.now() - heard.date - (steady() - heard.steady)) > apart;

  const tick = () => {
    if (!heard) return;
    const by = oldBy();
    const fresh = !closed && by < oldAfter && !jumped();
    root.classList.toggle('old', !fresh);
    times(fresh);
    if (!fresh) {
      const since = age(Math.max(0, Math.floor(by / 1000)));
      let head = `NO NEWS FROM THE BENCH FOR ${since}`;
      if (jumped()) head = `THIS SCREEN SLEPT, OR ITS CLOCK WAS SET: BY IT THE NEWS IS ${since} OLD`;
      if (closed) head = 'THE BENCH WAS CLOSED';
      put(byID('old-head'), head);
      put(byID('old-rest'), `What stands below is as of ${heard.clock}, and may be wrong by now.`);
    }
  };

  const alive = (p) => {
    const now = steady();
    if (heard && p.at < heard.at) offsets = []; // the computer of the bench was restarted
    offsets = [...offsets, now - p.at].slice(-kept);
    heard = { ...p, steady: now, date: Date.now() };
    flip = !flip; // the style counts from here, should this script stop
    root.classList.toggle('a', flip);
    root.classList.toggle('b', !flip);
    root.classList.add('live');
  };

  const listen = () => {
    if (source) source.close();
    const asked = steady();
    let first = true;
    let late = false;
    const mine = new EventSource(`news?have=${encodeURIComponent(have)}`);
    let waiting = setTimeout(() => again(0), oldAfter);
    const again = (wait) => {
      clearTimeout(waiting);
      if (source !== mine) return;
      mine.close();
      source = null;
      setTimeout(listen, wait);
    };
    source = mine;
    mine.addEventListener('part', (e) => {
      const p = JSON.parse(e.data);
      const el = byID(p.id);
      if (el) el.innerHTML = p.html;
    });
    mine.addEventListener('alive', (e) => {
      clearTimeout(waiting);
      waiting = setTimeout(() => again(0), oldAfter);
      const p = JSON.parse(e.data);
      if (p.page !== root.dataset.page) { // another version of the program
        location.reload();
        return;
      }
      // The first sign of life came between the question and now: that bounds the bench's clock.
      late = late || (first && steady() - asked > slow);
      first = false;
      have = e.lastEventId;
      if (late) return;
      closed = false;
      alive(p);
      tick();
    });
    mine.addEventListener('again', () => again(0));
    mine.addEventListener('closed', () => {
      closed = true;
      tick();
      again(2000);
    });
    mine.addEventListener('error', () => {
      tick();
      again(2000);
    });
  };

  const awake = () => {
    tick();
    if (document.visibilityState === 'visible' && !source) listen();
  };
  document.addEventListener('visibilitychange', awake);
  addEventListener('pageshow', awake);
  addEventListener('focus', awake);
  addEventListener('online', awake);
  if (navigator.wakeLock) { // where it is to be had the screen stays on
    const hold = () => navigator.wakeLock.request('screen').catch(() => {});
    hold();
    document.addEventListener('visibilitychange', hold);
  }
  setInterval(tick, 200);
  listen();
})();
