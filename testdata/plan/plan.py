"""Day plan for a denture-processing bench: simulator, planning rules, search, exact small cases. Standard library only.

Times are minutes from midnight of day 0. A *plan* is {'gate': minutes, 'mixes': [{'f': [cases], 'at': earliest start}],
'loads': [{'bath', 'prog': 'short'|'long', 'f': [cases], 'latest': start with what is there}]}: everything else (press order,
coating, when to mix exactly, cooling, finishing, repacking of lost doughs) follows from fixed rules in `simulate`.
Run (pypy3 is about twice as fast): plan.py table | exact | sensitivity [class..] | compare CLASS K [draws iterations bound] |
replan CLASS K [days futures] | leave_out CLASS K.  Classes: light full rush large two late.  All times of work are house values."""
import math, random, json, sys, itertools, time
# ---- press model: the house values of the trend and of the press work -------------------------------------------------------------------------
PRI = {'s': (4, .6, .30, .35), 'm': (8, .6, .30, .35), 'l': (18, .6, .40, .35)}   # first flash g, sd ln, kept, sd ln
SG = 0.45                                                                          # grading noise; heavy above 1 g (ln = 0)
RAISE, HOLD, OPEN, TRIM, FINAL = .7, 1.0, .3, 1.5, 2.0
KMAX = 15
def pmf(size, n=161):
    """exact chance that the first closure k >= 2 at or under slight is the k-th (midpoint grid over the prior, 7 sd)"""
    f0, sa, r0, sb = PRI[size]; w = []; p = [0.0] * (KMAX + 1)
    z = [-6 + 12 * (i + .5) / n for i in range(n)]; g = [math.exp(-x * x / 2) for x in z]; G = sum(g)
    for i in range(n):
        for j in range(n):
            S = g[i] * g[j] / G / G; a = math.log(f0) + sa * z[i]; b = math.log(r0) + sb * z[j]
            for k in range(2, KMAX):
                ok = .5 * math.erfc((a + b * (k - 1)) / SG / math.sqrt(2)); p[k] += S * ok; S *= 1 - ok
            p[KMAX] += S
    return p
PMF = {s: pmf(s) for s in PRI}
def cond_mean(s, d):
    q = sum(PMF[s][d + 1:]); return sum((k - d) * PMF[s][k] for k in range(d + 1, KMAX + 1)) / q if q > 1e-9 else 1.0
MEAN = {(s, d): cond_mean(s, d) for s in PRI for d in range(KMAX + 1)}
def draw_k(rng, s):
    u = rng.random()
    for k in range(2, KMAX + 1):
        u -= PMF[s][k]
        if u < 0: return k
    return KMAX
# ---- the bench ---------------------------------------------------------------------------------------------------------
CFG = dict(hands=1, presses=1, baths=1, cap=6, coat=5., dry=12., mix=3., set=30., start=5., out=5., cool=45., finish=45.,
           clean=20., short=180., long=540., dough=12.5, dough_sd=1.5, end=41., end_day_sd=3., end_mix_sd=1.5, open=480)
W = dict(late=10., tardy_h=1., tardy_cap_h=16., lost=3., ot_min=.05, mix=.5, short=.1)     # cost weights: invented, a setting
DAY, LUNCH, CLOSE, OTMAX = 1440, 720, 1020, 1080
def make_draw(seed, cases):
    """all that is unknown of one day: common random numbers for every plan (closures by case and attempt, dough by mix number)"""
    r = random.Random(seed); n = len(cases)
    return dict(k=[[draw_k(r, c['size']) for _ in range(8)] for c in cases], fin=[math.exp(r.gauss(0, .15)) for _ in range(n)],
                e=r.gauss(0, 1), u=[r.gauss(0, 1) for _ in range(60)], em=[r.gauss(0, 1) for _ in range(60)])
def fixed_draw(cases, k): return dict(k=[[x] * 8 for x in k], fin=[1.] * len(k), e=0., u=[0.] * 60, em=[0.] * 60)
def press_cost(cfg): return (RAISE + OPEN + TRIM + .3 * HOLD if cfg['hands'] == 1 else RAISE + HOLD + OPEN) / cfg['presses']
def work(cfg, s, d=0, need=True):
    return (MEAN[s, min(d, KMAX)] * press_cost(cfg) if need else 0) + FINAL / cfg['presses']
def moore(items, t):
    """Moore-Hodgson rank of live flasks: items (id, dough end, expected work); those that fit by end, then those given up, short first"""
    S, late, x = [], [], t
    for it in sorted(items, key=lambda a: (a[1], a[2], a[0])):
        S.append(it); x += it[2]
        if x > it[1]: j = max(S, key=lambda a: a[2]); S.remove(j); x -= j[2]; late.append(j)
    late.sort(key=lambda a: a[2]); return {it[0]: r for r, it in enumerate(S + late)}
def simulate(cfg, cases, plan, dr, trace=None, switch=None, snap=None):
    """plays one day; switch = (time, plan) changes plans at the first moment after that time without live dough; snap gets that state"""
    n = len(cases); H = [cfg['open']] * cfg['hands']; P = [None] * cfg['presses']; B = [None] * cfg['baths']
    st = ['wait'] * n; av = [float(c.get('from', 0)) for c in cases]; done = [0] * n; att = [0] * n; dgh = [None] * n; left = [0.] * n
    fin_at = [None] * n; mixes = [dict(f=list(m['f']), at=m.get('at', 0), rep=0) for m in plan['mixes']]; load_of = {}
    loads = [dict(l, f=list(l['f']), go=None) for l in plan['loads']]; nm = lost = nshort = 0; ot = 0.; lunch = 0 if cfg['open'] >= LUNCH else -1; stray = set()
    for j, l in enumerate(loads):
        for i in l['f']: load_of[i] = j
    for i in range(n):
        if i not in load_of: stray.add(i)
    def say(*a):
        if trace is not None: trace.append((round(t, 2),) + a)
    live = lambda: [i for i in range(n) if st[i] in ('dough', 'trim', 'press')]
    def lead(m): return cfg['dough'] + cfg['mix'] + sum(work(cfg, cases[i]['size']) for i in m['f'])
    def need(i): return done[i] < dr['k'][i][att[i] % 8]
    t = float(cfg['open'])
    while t < 4 * DAY:
        for p in range(len(P)):                                  # what happens by itself
            if P[p] and P[p][2] and P[p][1] <= t: P[p] = None
        for i in range(n):
            if st[i] in ('dough', 'trim') and t > dgh[i][1] and av[i] <= t:
                st[i] = 'clean'; left[i] = cfg['clean']; lost += 1; att[i] += 1; done[i] = 0; say('lost', i)
                r = next((m for m in mixes if m['rep'] and len(m['f']) < 2 and cases[m['f'][0]]['resin'] == cases[i]['resin']
                          and fits_chance(cfg, [cases[m['f'][0]]['size'], cases[i]['size']]) >= .8), None)
                if r: r['f'].append(i)
                else: mixes.insert(0, dict(f=[i], at=0, rep=1))
            elif st[i] == 'set' and t >= av[i]: st[i] = 'ready'
            elif st[i] == 'cool' and t >= av[i]: st[i] = 'finish'; left[i] = cfg['finish'] * dr['fin'][i]
        if all(s == 'done' for s in st): break
        L = live()
        if switch and t >= switch[0] and not L:
            if snap is not None: snap.append((t, list(st), list(att), nm))
            if switch[1]:
                plan = switch[1]; todo = [i for i in range(n) if st[i] in ('wait', 'coated', 'clean')]; inb = [i for i in range(n) if st[i] in ('bath', 'cool', 'finish', 'done')]
                mixes = [dict(f=[i for i in m['f'] if i in todo], at=m['at'], rep=0) for m in plan['mixes']]; mixes = [m for m in mixes if m['f']]
                loads = [dict(l, f=[i for i in l['f'] if i not in inb], go=None) for l in plan['loads']]; loads = [l for l in loads if l['f']]
                load_of = {i: j for j, l in enumerate(loads) for i in l['f']}; stray = {i for i in range(n) if i not in load_of and i not in inb}
            switch = None
        day, tod = int(t // DAY), t % DAY; free = [h for h in range(len(H)) if H[h] <= t]
        act = None
        if free and tod >= 480:
            h = free[0]; over = tod >= CLOSE
            # 1 press work on live dough
            if L:
                op = [p for p in range(len(P)) if P[p] and not P[p][2] and P[p][1] <= t]
                idle = [p for p in range(len(P)) if P[p] is None]
                can = [i for i in L if st[i] in ('dough', 'trim') and av[i] <= t and t >= dgh[i][0]]
                if op: act = ('open', op[0])
                elif can:
                    rk = moore([(i, dgh[i][1], work(cfg, cases[i]['size'], done[i], need(i))) for i in L if dgh[i][1] > t], t)
                    can.sort(key=lambda i: rk.get(i, 99)); pr = [i for i in can if st[i] == 'dough']; tr = [i for i in can if st[i] == 'trim']
                    if pr and idle: act = ('press', pr[0], idle[0])
                    elif tr: act = ('trim', tr[0])
            if not act and not L and LUNCH <= tod < CLOSE and lunch < day and all(H[x] <= t for x in range(len(H))):
                lunch = day; H = [t + 30] * len(H); say('lunch'); continue
            # 2 baths; hands leave a live dough only for work that ends before it is wanted, or when another pair is there
            room = min((dgh[i][0] for i in L), default=1e9) - t; other = any(x != h and H[x] <= t + 1 for x in range(len(H)))
            may = lambda d: other or room >= d
            if not act and may(5):
                for b in range(len(B)):
                    if B[b] and B[b]['end'] <= t and not over: act = ('out', b); break
                    if B[b] is None:
                        for j, l in enumerate(loads):
                            if l['go'] is None and l['bath'] == b and l['f']:
                                rdy = [i for i in l['f'] if st[i] == 'ready']; full = len(rdy) == len(l['f'])
                                busy = any(st[i] in ('dough', 'trim', 'press', 'set') for i in stray)
                                if l['prog'] == 'long' and full and busy and t < l['latest']: full = False
                                if rdy and (full or t >= l['latest']): act = ('go', j, b, rdy)
                                break                            # loads of one bath in their order
                        if not act and stray:
                            r = [i for i in stray if st[i] == 'ready']
                            if over and r and not any(l['go'] is None and l['bath'] == b and l['f'] and day * DAY + CLOSE <= l['latest'] < day * DAY + OTMAX + 60 for l in loads): act = ('stray', b, r, 'long')
                            elif not over and any(cases[i]['due'] < (day + 1) * DAY + 600 for i in r) and tod + 190 <= CLOSE \
                                 and not any(l['go'] is None and l['bath'] == b and l['f'] and l['latest'] < t + 190 for l in loads): act = ('stray', b, r, 'short')
                    if act: break
            # 3 mix, coat, finish, clean: least slack
            if not act:
                o = []
                busyw = sum(work(cfg, cases[i]['size'], done[i], need(i)) for i in L)
                m = next((m for m in mixes if t >= m['at']), None)
                if m and not over:
                    l = loads[load_of[m['f'][0]]] if m['f'][0] in load_of and m['f'][0] not in stray else None
                    dl = (l['latest'] if l and l['latest'] > t else min(cases[i]['due'] for i in m['f']) - 330) - 30 - lead(m)
                    fits = tod + lead(m) <= CLOSE + plan.get('ot', 0) and not (tod < LUNCH and lunch < day and tod + lead(m) > LUNCH + 25)
                    safe = not L or may(cfg['mix']) or min(dgh[i][1] for i in L) - t > cfg['mix'] + 1.3 * busyw
                    if fits and safe and busyw <= plan['gate'] and all(st[i] == 'coated' and av[i] <= t + 10 for i in m['f']): o.append((dl - t - 60, ('mix', m)))
                if not over and may(cfg['coat']):
                    for q, m2 in enumerate(mixes[:3]):
                        for i in m2['f']:
                            if st[i] == 'wait' and av[i] <= t: o.append((min(240., m2['at'] - t) + 20 * q, ('coat', i))); break
                for i in range(n) if may(5) else ():
                    if st[i] in ('finish', 'clean') and av[i] <= t and (not over or (tod < OTMAX and st[i] == 'finish' and cases[i]['due'] <= day * DAY + OTMAX)):
                        o.append((cases[i]['due'] - cfg['finish'] - t - (400 if st[i] == 'clean' else 0) + 1e-3 * left[i], ('chunk', i)))
                if o: act = min(o, key=lambda a: (a[0], a[1][0]))[1]
        if act:
            a = act[0]
            if a == 'open': i = P[act[1]][0]; P[act[1]] = None; H[h] = t + OPEN; done[i] += 1; st[i] = 'trim'; av[i] = t + OPEN
            elif a == 'press':
                i = act[1]
                if need(i): st[i] = 'press'; H[h] = t + RAISE; P[act[2]] = (i, t + RAISE + HOLD, 0)
                elif t + FINAL <= dgh[i][1]: st[i] = 'set'; H[h] = t + FINAL; av[i] = t + FINAL + cfg['set']; P[act[2]] = (-1, t + FINAL, 1); say('closed', i)
                else: av[i] = dgh[i][1] + 1e-6
            elif a == 'trim': i = act[1]; H[h] = t + TRIM; st[i] = 'dough'; av[i] = t + TRIM
            elif a == 'mix':
                m = act[1]; mixes.remove(m); H[h] = t + cfg['mix']; say('mix', *m['f'])
                u = max(9., min(17., cfg['dough'] + cfg['dough_sd'] * dr['u'][nm]))
                e = max(33., min(50., cfg['end'] + cfg['end_day_sd'] * dr['e'] + cfg['end_mix_sd'] * dr['em'][nm])); nm += 1
                for i in m['f']: st[i] = 'dough'; av[i] = max(av[i], t + cfg['mix']); dgh[i] = (t + u, t + e)
            elif a == 'coat': i = act[1]; H[h] = t + cfg['coat']; st[i] = 'coated'; av[i] = H[h] + cfg['dry']
            elif a == 'chunk':
                i = act[1]; d = min(15. if not L and t % DAY < LUNCH - 15 or t % DAY > LUNCH + 30 and not L else 5., left[i]); left[i] -= d; H[h] = t + d; av[i] = t + d
                if left[i] <= 1e-9:
                    if st[i] == 'clean': st[i] = 'wait'
                    else: st[i] = 'done'; fin_at[i] = t + d; say('finished', i)
            elif a == 'out':
                b = act[1]; H[h] = t + cfg['out']; say('out', b, *B[b]['f'])
                for i in B[b]['f']: st[i] = 'cool'; av[i] = H[h] + cfg['cool']
                B[b] = None
            else:
                b, rdy = (act[2], act[3]) if a == 'go' else (act[1], act[2]); pg = loads[act[1]]['prog'] if a == 'go' else act[3]
                rdy = rdy[:cfg['cap']]
                if a == 'go':
                    loads[act[1]]['go'] = t
                    for i in loads[act[1]]['f']:
                        if i not in rdy: stray.add(i)
                    x = sorted((i for i in stray if st[i] == 'ready' and i not in rdy), key=lambda i: cases[i]['due']); rdy = rdy + x[:cfg['cap'] - len(rdy)]
                for i in rdy: st[i] = 'bath'; stray.discard(i)
                H[h] = t + cfg['start']; B[b] = dict(f=rdy, end=t + cfg['start'] + cfg[pg]); nshort += len(rdy) if pg == 'short' else 0; say('bath', b, pg, *rdy)
            if H[h] % DAY > CLOSE: ot = max(ot, H[h] % DAY - CLOSE) if a != 'lunch' else ot
            continue
        # nothing to do for a free hand now: next instant at which something can change
        nx = [x for x in H if x > t] + [p[1] for p in P if p and p[1] > t] + [b['end'] for b in B if b and b['end'] > t]
        for i in range(n):
            if st[i] != 'done' and st[i] != 'bath' and av[i] > t: nx.append(av[i])
            if st[i] in ('dough', 'trim', 'press') and dgh[i]:
                if dgh[i][0] > t: nx.append(dgh[i][0])
                if dgh[i][1] > t: nx.append(dgh[i][1] + 1e-6)
            if st[i] == 'coated' and av[i] - 10 > t: nx.append(av[i] - 10)
        nx += [m['at'] for m in mixes if m['at'] > t] + [l['latest'] for l in loads if l['go'] is None and l['latest'] > t]
        nx += [x for x in (day * DAY + 480, day * DAY + LUNCH, day * DAY + CLOSE, (day + 1) * DAY + 480) if x > t]
        t = min(nx) if nx else t + 5
    end = [f if f is not None else 4. * DAY for f in fin_at]; late = [end[i] > cases[i]['due'] + 1e-6 for i in range(n)]
    tard = [max(0., min(W['tardy_cap_h'], (end[i] - cases[i]['due']) / 60)) for i in range(n)]
    cost = sum(c.get('w', 1) * (W['late'] * late[i] + W['tardy_h'] * tard[i]) for i, c in enumerate(cases)) + W['lost'] * lost \
        + W['ot_min'] * ot + W['mix'] * nm + W['short'] * nshort
    return dict(cost=cost, late=late, lost=lost, ot=ot, mixes=nm, end=end, makespan=max(end))
# ---- how many flasks to a mix: exact enumeration over closures needed --------------------------------------------------
def window_play(cfg, sizes, ks, win, start=0.):
    """one mix, dough from 0 to win: how many flasks are closed in time under the Moore-Hodgson rule"""
    n = len(sizes); st = ['d'] * n; av = [0.] * n; done = [0] * n; P = [None] * cfg['presses']; H = [start] * cfg['hands']; t = start; ok = 0
    while t < win and ('d' in st or 't' in st or 'p' in st):
        fr = [h for h in range(len(H)) if H[h] <= t]
        if fr:
            h = fr[0]; op = [p for p in range(len(P)) if P[p] and P[p][0] >= 0 and P[p][1] <= t]
            for p in range(len(P)):
                if P[p] and P[p][0] < 0 and P[p][1] <= t: P[p] = None
            idle = [p for p in range(len(P)) if P[p] is None]; act = [i for i in range(n) if st[i] in 'dtp']
            if op: i = P[op[0]][0]; P[op[0]] = None; H[h] = t + OPEN; st[i] = 't'; done[i] += 1; av[i] = t + OPEN; continue
            rk = moore([(i, win, work(cfg, sizes[i], done[i], done[i] < ks[i])) for i in act], t)
            pr = sorted((i for i in act if st[i] == 'd' and av[i] <= t), key=rk.get); tr = sorted((i for i in act if st[i] == 't' and av[i] <= t), key=rk.get)
            if pr and idle:
                i = pr[0]
                if done[i] < ks[i]: st[i] = 'p'; H[h] = t + RAISE; P[idle[0]] = (i, t + RAISE + HOLD)
                else:
                    st[i] = 'x'; H[h] = t + FINAL; P[idle[0]] = (-1, t + FINAL); ok += t + FINAL <= win + 1e-9
                continue
            if tr: i = tr[0]; st[i] = 'd'; H[h] = t + TRIM; av[i] = t + TRIM; continue
        t = min([x for x in H if x > t] + [p[1] for p in P if p and p[1] > t] + [x for x in av if x > t] or [win])
    return ok
def p_all(cfg, sizes, win, kmax=None):
    """exact chance that every flask of one mix is closed in `win` minutes, and the expected number lost"""
    tot = pa = lost = 0.; kmax = kmax or (0, 15, 12, 9, 7)[len(sizes)]
    for ks in itertools.product(range(2, kmax + 1), repeat=len(sizes)):
        p = 1.
        for s, k in zip(sizes, ks): p *= PMF[s][k] if k < kmax else sum(PMF[s][kmax:])
        if p < 1e-7: continue
        ok = window_play(cfg, sizes, [k if k < kmax else 13 for k in ks], win); tot += p; pa += p * (ok == len(sizes)); lost += p * (len(sizes) - ok)
    return pa / tot, lost / tot
# ---- rules -------------------------------------------------------------------------------------------------------------
PA = {}
def fits_chance(cfg, sizes):
    k = (cfg['hands'], cfg['presses'], tuple(sorted(sizes)))
    if k not in PA: PA[k] = p_all(cfg, k[2], cfg['end'] - cfg['dough'] - 1)[0] if len(sizes) < 5 else 0.
    return PA[k]
def overnight_done(cfg): return DAY + 480 + cfg['out'] + cfg['cool'] + cfg['finish']
def make_loads(cfg, cases, order, wait=False):
    """bath loads by rule: what is due before an overnight load can be finished goes short as soon as set, the rest overnight; what
    does not fit overnight goes short by 13:45. wait: a short load waits for its stragglers as long as the first of it can still be in time"""
    today = [i for i in order if cases[i]['due'] < overnight_done(cfg)]; rest = [i for i in order if i not in today]; loads = []; cap = cfg['cap']; nb = cfg['baths']
    for j in range(0, len(today), cap):
        g = today[j:j + cap]; d = min(cases[i]['due'] for i in g)
        loads.append(dict(bath=(j // cap) % nb, prog='short', f=g, latest=d - cfg['short'] - cfg['cool'] - cfg['start'] - cfg['out'] - (cfg['finish'] if wait else cfg['finish'] * len(g) / cfg['hands'] + 15)))
    night, over = rest[:cap * nb], rest[cap * nb:]
    if over and cfg['open'] < 600:                                # first of the order go in a day load, the later ones overnight
        k = min(len(over), cap * nb if not today else cap * max(1, nb - 1)); day, rest2 = rest[:k], rest[k:]; night, over = rest2[:cap * nb], rest2[cap * nb:]
        for j in range(0, len(day), cap): loads.append(dict(bath=(nb - 1 - j // cap) % nb, prog='short', f=day[j:j + cap], latest=825))
    for j in range(0, len(night), cap): loads.append(dict(bath=j // cap, prog='long', f=night[j:j + cap], latest=CLOSE))
    for j in range(0, len(over), cap): loads.append(dict(bath=(j // cap) % nb, prog='long', f=over[j:j + cap], latest=DAY + CLOSE))
    return loads
def rule(cfg, cases, kind, small=False, wait=False):
    """small: among equal due times small bases first, large last (arrival order otherwise)"""
    n = len(cases); idx = list(range(n)); gate = 8.
    if kind[0] != 'f' or kind[1] != 'c': idx.sort(key=lambda i: (cases[i]['due'], -cases[i].get('w', 1), 'sml'.index(cases[i]['size']) if small else 0, i))
    if kind.endswith('x'): gate, kind = 1e3, kind[:-1]            # x: does not wait for the press before the next mix
    groups = []
    for i in idx:
        for g in groups:
            if cases[g[0]]['resin'] != cases[i]['resin'] or g is not next((x for x in reversed(groups) if cases[x[0]]['resin'] == cases[i]['resin']), None): continue
            fit = {'fcfs4': len(g) < 4, 'edd1': False, 'edd2': len(g) < 2, 'edd3': len(g) < 3,
                   'fit80': kind == 'fit80' and fits_chance(cfg, [cases[x]['size'] for x in g + [i]]) >= .8,
                   'fit95': kind == 'fit95' and fits_chance(cfg, [cases[x]['size'] for x in g + [i]]) >= .95,
                   'own': kind == 'own' and cases[i]['due'] > CLOSE and cases[g[0]]['due'] > CLOSE and fits_chance(cfg, [cases[x]['size'] for x in g + [i]]) >= .8}[kind]
            if fit: g.append(i); break
        else: groups.append([i])
    order = [i for g in groups for i in g] if kind != 'fcfs4' else idx
    return dict(gate=gate, mixes=[dict(f=g, at=0) for g in groups], loads=make_loads(cfg, cases, order, wait))
RULES = ('fcfs4', 'edd3', 'edd2x', 'edd2', 'edd1', 'fit80', 'fit95', 'own')
PORTFOLIO = RULES[3:]
def evaluate(cfg, cases, plan, draws, stop=None):
    return [simulate(cfg, cases, plan, d)['cost'] for d in draws]
# ---- search ------------------------------------------------------------------------------------------------------------
def copy(p): return dict(p, mixes=[dict(m, f=list(m['f'])) for m in p['mixes']], loads=[dict(l, f=list(l['f'])) for l in p['loads']])
def neighbour(cfg, cases, p, r):
    q = copy(p); M, Ls = q['mixes'], q['loads']; k = r.random()
    if k < .20:                                                   # move a case to another mix of its resin, or to one of its own
        a = r.choice(M); i = r.choice(a['f']); c = [m for m in M if m is not a and cases[m['f'][0]]['resin'] == cases[i]['resin'] and len(m['f']) < 4]
        a['f'].remove(i)
        if c and r.random() < .7: r.choice(c)['f'].append(i)
        else: M.insert(r.randrange(len(M) + 1), dict(f=[i], at=0))
    elif k < .32 and len(M) > 1:                                  # merge two
        a, b = r.sample(M, 2)
        if cases[a['f'][0]]['resin'] == cases[b['f'][0]]['resin'] and len(a['f']) + len(b['f']) <= 4: a['f'] += b['f']; b['f'] = []
    elif k < .50 and len(M) > 1: m = M.pop(r.randrange(len(M))); M.insert(r.randrange(len(M) + 1), m)
    elif k < .60 and len(M) > 1:                                  # exchange two cases of one resin
        a, b = r.sample(M, 2)
        if cases[a['f'][0]]['resin'] == cases[b['f'][0]]['resin']: i, j = r.randrange(len(a['f'])), r.randrange(len(b['f'])); a['f'][i], b['f'][j] = b['f'][j], a['f'][i]
    elif k < .68: m = r.choice(M); m['at'] = max(0, r.choice([0, 0, 750, m['at'] + 15, m['at'] - 15, DAY + 480]))
    elif k < .74: q['gate'] = max(0., q['gate'] + r.choice([-4, -2, 2, 4]))
    elif k < .78: q['ot'] = r.choice([0, 0, 15, 30])
    elif k < .90:                                                 # a case to another load, or a load of its own
        a = r.choice(Ls); i = r.choice(a['f']); c = [l for l in Ls if l is not a and len(l['f']) < cfg['cap']]
        if c and r.random() < .75: a['f'].remove(i); r.choice(c)['f'].append(i)
        else:
            a['f'].remove(i); pg = r.choice(['short', 'short', 'long'])
            Ls.append(dict(bath=r.randrange(cfg['baths']), prog=pg, f=[i], latest=r.choice([720, 825]) if pg == 'short' else CLOSE))
    elif k < .96: l = r.choice(Ls); l['latest'] = l['latest'] + r.choice([-60, -30, -15, 15, 30, 60])
    else: l = r.choice(Ls); l['bath'] = r.randrange(cfg['baths'])
    q['mixes'] = [m for m in M if m['f']]; q['loads'] = sorted((l for l in Ls if l['f']), key=lambda l: l['latest']); return q
def variants(cfg, cases):
    for k in PORTFOLIO:
        for g in (4., 8.):
            for small in (False, True):
                for wait in (False, True) if any(c['due'] < DAY for c in cases) else (False,): yield dict(rule(cfg, cases, k, small, wait), gate=g)
def pick(cfg, cases, D):
    """portfolio: the variant of the simple rules that does best on the draws D (all on the first 15, the ten best on all)"""
    c = [(sum(evaluate(cfg, cases, p, D[:15])), j, p) for j, p in enumerate(variants(cfg, cases))]
    return min((sum(evaluate(cfg, cases, p, D)), j, p) for _, j, p in sorted(c, key=lambda x: x[:2])[:10])[2]
def defer(cfg, cases, p, D):
    """which cases not today: puts off to tomorrow morning, one mix at a time, while that gains 2 s.e. on the draws D"""
    c = evaluate(cfg, cases, p, D)
    while True:
        best = None
        for j, m in enumerate(p['mixes']):
            if m['at'] < DAY and min(cases[i]['due'] for i in m['f']) > DAY + 480:
                q = copy(p); q['mixes'][j]['at'] = DAY + 480; x = evaluate(cfg, cases, q, D); g, se = paired(c, x)
                if g > max(2 * se, .2) and (best is None or g > best[0]): best = (g, q, x)
        if not best: return p
        p, c = best[1], best[2]
def search(cfg, cases, seed, iters=200, n1=12, n2=60, nv=120):
    """annealing on common draws with a race (n1 draws first, all n2 only if the candidate is not clearly worse), from the portfolio's pick;
    returns (pick, searched, adopted): the searched plan is adopted only for a gain of 2 s.e. on nv fresh draws"""
    r = random.Random(seed); D = [make_draw(10 ** 6 + seed * 1000 + j, cases) for j in range(n2)]
    first = best = cur = pick(cfg, cases, D); cc = evaluate(cfg, cases, cur, D); bc = sum(cc); T0 = .03 * bc / n2 + .2
    for it in range(iters):
        q = neighbour(cfg, cases, cur, r); T = T0 * (1 - it / iters) + 1e-9; thr = -T * math.log(r.random() + 1e-12)
        a = evaluate(cfg, cases, q, D[:n1]); d = [x - y for x, y in zip(a, cc)]; m = sum(d) / n1; s = (sum((x - m) ** 2 for x in d) / (n1 - 1) / n1) ** .5
        if m - 2 * s > thr: continue
        a += evaluate(cfg, cases, q, D[n1:])
        if (sum(a) - sum(cc)) / n2 <= thr:
            cur, cc = q, a
            if sum(a) < bc - 1e-9: best, bc = q, sum(a)
    V = [make_draw(2 * 10 ** 6 + seed * 1000 + j, cases) for j in range(nv)]; g, se = paired(evaluate(cfg, cases, first, V), evaluate(cfg, cases, best, V))
    return first, best, best if g > 2 * se and g > .2 else first
# ---- scenarios -----------------------------------------------------------------------------------------------------------
T17, N12, N17, D17 = 1020, DAY + 720, DAY + 1020, 2 * DAY + 1020
SCEN = {'light': (dict(), [N12] + 3 * [N17], 'A', (.3, .5)), 'full': (dict(), 2 * [N12] + 4 * [N17] + 4 * [D17], 'AAB', (.3, .5)),
        'rush': (dict(), 3 * [T17] + 4 * [N17], 'AB', (.3, .5)), 'large': (dict(), 3 * [N17] + 5 * [D17], 'AB', (.1, .3)),
        'two': (dict(hands=2, baths=2), 4 * [T17] + 5 * [N17] + 5 * [D17], 'AAB', (.3, .5)), 'late': (dict(open=780), 4 * [N17] + 2 * [D17], 'AB', (.3, .5))}
def instance(name, k):
    """instance k of a class of days: sizes, resins and the order of arrival drawn with seed (name, k); due times as listed"""
    c, due, res, p = SCEN[name]; r = random.Random(name + str(k)); cs = []
    for d in due:
        u = r.random(); cs.append(dict(size='s' if u < p[0] else 'm' if u < p[0] + p[1] else 'l', resin=r.choice(res), due=d, w=2 if d == T17 else 1))
    r.shuffle(cs); return dict(CFG, **c), cs
def stats(cfg, cases, plan, draws):
    R = [simulate(cfg, cases, plan, d) for d in draws]; n = len(R); o = {}
    for key, f in (('cost', lambda r: r['cost']), ('late', lambda r: sum(r['late'])), ('lost', lambda r: r['lost']), ('mixes', lambda r: r['mixes']),
                   ('overtime_min', lambda r: r['ot']), ('makespan_h', lambda r: (r['makespan'] - 480) / 60)):
        x = [float(f(r)) for r in R]; m = sum(x) / n; o[key] = [round(m, 3), round((sum((v - m) ** 2 for v in x) / (n - 1) / n) ** .5, 3)]
    o['late_chance'] = [round(sum(r['late'][i] for r in R) / n, 3) for i in range(len(cases))]; return o, [r['cost'] for r in R]
def paired(a, b):
    d = [x - y for x, y in zip(a, b)]; m = sum(d) / len(d); return [round(m, 3), round((sum((x - m) ** 2 for x in d) / (len(d) - 1) / len(d)) ** .5, 3)]
def compare(name, k, ntest=150, iters=200, evpi=0):
    cfg, cases = instance(name, k); test = [make_draw(s, cases) for s in range(ntest)]; out = dict(scenario=name, instance=k, cases=cases, rules={}); C = {}; P = {}
    for kind in RULES: P[kind] = rule(cfg, cases, kind)
    P['fit80+'] = dict(rule(cfg, cases, 'fit80', True, True), gate=6.); t0 = time.time(); P['portfolio'], P['search'], P['adopted'] = search(cfg, cases, k + 1, iters); P['pick+defer'] = defer(cfg, cases, P['portfolio'], [make_draw(10 ** 6 + (k + 1) * 1000 + j, cases) for j in range(60)]); out['search_s'] = round(time.time() - t0, 1)
    for x in P: out['rules'][x], C[x] = stats(cfg, cases, P[x], test)
    out['plan'] = P['adopted']; out['adopted_search'] = P['adopted'] is P['search'] and P['search'] is not P['portfolio']
    for x in ('edd2', 'fit80', 'fit80+', 'portfolio'): out['gain_search_over_' + x] = paired(C[x], C['search'])
    out['gain_defer_over_portfolio'] = paired(C['portfolio'], C['pick+defer']); out['gain_search_over_defer'] = paired(C['pick+defer'], C['search'])
    out['gain_adopted_over_portfolio'] = paired(C['portfolio'], C['adopted'])
    if evpi:                                                      # bound on re-planning: best plan when all is known beforehand
        w = []
        for d in test[:evpi]:
            r = random.Random(7); cur = min(P.values(), key=lambda p: simulate(cfg, cases, p, d)['cost']); c = simulate(cfg, cases, cur, d)['cost']
            for _ in range(150):
                q = neighbour(cfg, cases, cur, r); x = simulate(cfg, cases, q, d)['cost']
                if x <= c: cur, c = q, x
            w.append(c)
        out['perfect_information_bound'] = paired(C['adopted'][:evpi], w)
    return out
def replan(name, k, ndays=60, nd=30):
    """value of planning again after the first lost dough: keep the plan or take the portfolio's best for what is left, by simulation of
    futures that agree with all seen so far; changed only for a gain of 1 point and 2 s.e."""
    cfg, cases = instance(name, k); n = len(cases); A = pick(cfg, cases, [make_draw(10 ** 6 + j, cases) for j in range(60)]); gain = []; asked = changed = 0
    for s in range(ndays):
        d = make_draw(s, cases); tr = []; base = simulate(cfg, cases, A, d, tr); T = next((e[0] for e in tr if e[1] == 'lost'), None)
        if T is None or T % DAY > 960: gain.append(0.); continue
        sn = []; simulate(cfg, cases, A, d, None, (T, None), sn); asked += 1
        if not sn: gain.append(0.); continue
        t, st, att, nm = sn[0]; todo = [i for i in range(n) if st[i] in ('wait', 'coated', 'clean')]; rest = [i for i in range(n) if st[i] in ('wait', 'coated', 'clean', 'set', 'ready')]
        F = []
        for j in range(nd):
            f = make_draw(5 * 10 ** 6 + s * 100 + j, cases); g = dict(k=[d['k'][i][:att[i] + (i not in todo)] + f['k'][i][att[i] + (i not in todo):] for i in range(n)], e=d['e'], u=d['u'][:nm] + f['u'][nm:],
                 em=d['em'][:nm] + f['em'][nm:], fin=[d['fin'][i] if st[i] == 'done' else f['fin'][i] for i in range(n)]); F.append(g)
        keep = [simulate(cfg, cases, A, f)['cost'] for f in F]; best = None; c2 = dict(cfg, open=t % DAY)
        if t < DAY and todo:
            for kind in PORTFOLIO:
                R = rule(c2, [cases[i] for i in rest], kind); mp = lambda x: [rest[i] for i in x]
                B = dict(gate=6., mixes=[dict(f=mp(m['f']), at=0) for m in R['mixes']], loads=[dict(l, f=mp(l['f'])) for l in R['loads']])
                c = [simulate(cfg, cases, A, f, None, (T, B))['cost'] for f in F]; g, se = paired(keep, c)
                if g > max(1., 2 * se) and (best is None or g > best[0]): best = (g, B)
        if best: changed += 1; gain.append(base['cost'] - simulate(cfg, cases, A, d, None, (T, best[1]))['cost'])
        else: gain.append(0.)
    return dict(scenario=name, instance=k, days=ndays, days_with_loss=asked, plans_changed=changed, gain_per_day=paired(gain, [0.] * len(gain)))
def leave_out(name, k, nd=60):
    """what to say no to: cost and late chances of the best plan without each case in turn"""
    cfg, cases = instance(name, k); D = [make_draw(s, cases) for s in range(nd)]; out = []
    for i in [None] + list(range(len(cases))):
        keep = [j for j in range(len(cases)) if j != i]; c2 = [cases[j] for j in keep]
        D2 = [dict(d, k=[d['k'][j] for j in keep], fin=[d['fin'][j] for j in keep]) for d in D]; o, _ = stats(cfg, c2, pick(cfg, c2, D2), D2)
        out.append(dict(without=i, cost=o['cost'], late_chance=dict(zip(keep, o['late_chance']))))
    return dict(scenario=name, instance=k, cases=cases, results=out)
# ---- tables and exact small cases -------------------------------------------------------------------------------------------
def table(wins=(24, 28, 32, 36, 40), res=((1, 1), (2, 1), (2, 2))):
    """exact: (hands, presses, sizes) -> [[window, P(all closed in time), expected lost], ...] under the Moore-Hodgson press rule"""
    out = []
    for h, p in res:
        cfg = dict(CFG, hands=h, presses=p)
        for n in (1, 2, 3, 4):
            for c in itertools.combinations_with_replacement('sml', n):
                o = dict(hands=h, presses=p, sizes=''.join(c), work_min=round(sum(work(cfg, x) for x in c), 2), by_window=[])
                for w in wins: a, b = p_all(cfg, c, w); o['by_window'].append([w, round(a, 4), round(b, 4)])
                out.append(o)
    return out
def ordered_partitions(cases):
    n = len(cases)
    def parts(i):
        if i == n: yield []; return
        for P in parts(i + 1):
            yield [[i]] + P
            for j in range(len(P)):
                if cases[P[j][0]]['resin'] == cases[i]['resin'] and len(P[j]) < 4: yield P[:j] + [[i] + P[j]] + P[j + 1:]
    seen = set()
    for P in parts(0):
        for Q in itertools.permutations(P):
            k = tuple(map(tuple, Q))
            if k not in seen: seen.add(k); yield [list(g) for g in Q]
def all_plans(cases, gates=(0., 8., 1000.)):
    n = len(cases)
    for G in ordered_partitions(cases):
        for m in range(2 ** n):
            S, Lg = [i for i in range(n) if m >> i & 1], [i for i in range(n) if not m >> i & 1]; loads = []
            if S: loads.append(dict(bath=0, prog='short', f=S, latest=780))
            if Lg: loads.append(dict(bath=0, prog='long', f=Lg, latest=CLOSE))
            for g in gates: yield dict(gate=g, mixes=[dict(f=list(x), at=0) for x in G], loads=[dict(l, f=list(l['f'])) for l in loads])
def weighted_draws(cases, kmax=7):
    for ks in itertools.product(range(2, kmax + 1), repeat=len(cases)):
        w = 1.
        for c, k in zip(cases, ks): w *= PMF[c['size']][k] if k < kmax else sum(PMF[c['size']][kmax:])
        d = fixed_draw(cases, ks); d['k'] = [[k] + [3] * 7 for k in ks]; yield w, d
def exact():
    cfg = dict(CFG); A = lambda s, due, r='A', w=1: dict(size=s, resin=r, due=due, w=w); out = dict(traces=[], deterministic=[], expected=[])
    for name, cs, ks, plan in (
        ('one medium, three closures', [A('m', T17)], [3], dict(gate=8., mixes=[dict(f=[0], at=0)], loads=[dict(bath=0, prog='short', f=[0], latest=780)])),
        ('two of one mix, one of another resin, overnight', [A('m', N17), A('s', N17), A('l', N17, 'B')], [3, 2, 5],
         dict(gate=8., mixes=[dict(f=[0, 1], at=0), dict(f=[2], at=0)], loads=[dict(bath=0, prog='long', f=[0, 1, 2], latest=CLOSE)])),
        ('four large in one mix: some doughs are lost', [A('l', N17)] * 4, [5, 4, 6, 4],
         dict(gate=8., mixes=[dict(f=[0, 1, 2, 3], at=0)], loads=[dict(bath=0, prog='long', f=[0, 1, 2, 3], latest=CLOSE)]))):
        tr = []; r = simulate(cfg, cs, plan, fixed_draw(cs, ks), tr)
        out['traces'].append(dict(name=name, cases=cs, closures=ks, plan=plan, trace=tr, finished=[round(x, 4) for x in r['end']], lost=r['lost'], cost=round(r['cost'], 6)))
    for name, cs, ks in (('three, one due today', [A('m', N17), A('m', T17, w=2), A('l', N17)], [3, 3, 5]), ('four of one resin', [A('m', N12), A('s', N17), A('l', N17), A('m', N17)], [4, 2, 5, 3]),
                         ('four, two resins, two due today', [A('m', T17, w=2), A('s', N17), A('m', T17, 'B', 2), A('l', N17, 'B')], [3, 3, 4, 5])):
        d = fixed_draw(cs, ks); R = sorted(((simulate(cfg, cs, p, d)['cost'], j, p) for j, p in enumerate(all_plans(cs))), key=lambda x: x[:2])
        ru = {k: round(simulate(cfg, cs, rule(cfg, cs, k), d)['cost'], 6) for k in RULES}
        out['deterministic'].append(dict(name=name, cases=cs, closures=ks, plans=len(R), best_cost=round(R[0][0], 6), ties=sum(x[0] < R[0][0] + 1e-9 for x in R), worst_cost=round(R[-1][0], 6), best_plan=R[0][2], rules=ru))
    for name, cs in (('three of one resin, expected', [A('m', N17), A('s', N17), A('l', N17)]), ('three, one due today, expected', [A('m', T17, w=2), A('m', N17), A('l', N17)])):
        D = list(weighted_draws(cs)); ev = lambda p: sum(w * simulate(cfg, cs, p, d)['cost'] for w, d in D)
        S = sorted(D, key=lambda x: -x[0])[:40]; q = sorted(((sum(w * simulate(cfg, cs, p, d)['cost'] for w, d in S), j, p) for j, p in enumerate(all_plans(cs, (0., 8.)))), key=lambda x: x[:2])
        tail = 1 - sum(w for w, d in S); bound = None; best = None                 # cost >= 0: the partial sum is a lower bound, so the search below is exact
        for lb, j, p in q:
            if best and lb >= best[0] - 1e-12: break
            c = ev(p)
            if best is None or c < best[0] - 1e-12: best = (c, p)
        out['expected'].append(dict(name=name, cases=cs, draws=len(D), best_cost=round(best[0], 6), best_plan=best[1], rules={k: round(ev(rule(cfg, cs, k)), 6) for k in RULES}))
    return out
def sensitivity(name='full', ks=range(4), n=60):
    """mean cost of fit80 by gate, and of the common rules with a bench that trims in 60 s instead of 90"""
    o = {}
    for g in (0., 4., 6., 8., 10., 12., 16., 20., 1000.):
        x = []
        for k in ks:
            cfg, cs = instance(name, k); p = rule(cfg, cs, 'fit80'); p['gate'] = g; r = [simulate(cfg, cs, p, make_draw(s, cs)) for s in range(n)]
            x += [(v['cost'], v['lost'], sum(v['late'])) for v in r]
        m = [sum(v[j] for v in x) / len(x) for j in range(3)]; o[str(g)] = [round(v, 3) for v in m] + [round((sum((v[0] - m[0]) ** 2 for v in x) / len(x) ** 2) ** .5, 3)]
    return o
if __name__ == '__main__' and len(sys.argv) > 1:
    a = sys.argv[1]
    if a == 'compare': print(json.dumps(compare(sys.argv[2], int(sys.argv[3]), *(int(x) for x in sys.argv[4:]))), flush=True)
    if a == 'leave_out': print(json.dumps(leave_out(sys.argv[2], int(sys.argv[3]))))
    if a == 'replan': print(json.dumps(replan(sys.argv[2], int(sys.argv[3]), *(int(x) for x in sys.argv[4:]))), flush=True)
    if a == 'table': print(json.dumps(table()))
    if a == 'exact': print(json.dumps(exact()))
    if a == 'sensitivity': print(json.dumps({n: sensitivity(n) for n in sys.argv[2:] or ['full', 'rush']}))
