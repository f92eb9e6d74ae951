// What the C++ peers share: a tiny GLB reader (positions and indices only), the ray file, threads, timing and the JSON lines.
#pragma once
#include <pthread.h>
#include <sched.h>
#include <sys/resource.h>

#include <algorithm>
#include <atomic>
#include <chrono>
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <map>
#include <memory>
#include <stdexcept>
#include <string>
#include <thread>
#include <vector>

// ---------------------------------------------------------------- GLB

struct Json {
  double num = 0;
  std::string str;
  std::vector<Json> arr;
  std::map<std::string, Json> obj;
  const Json &operator[](const char *k) const {
    static const Json none;
    auto it = obj.find(k);
    return it == obj.end() ? none : it->second;
  }
  const Json &at(double i) const { return arr.at(size_t(i)); }
};

struct JsonParser {
  const char *p, *end;
  void space() { while (p < end && (*p == ' ' || *p == '\n' || *p == '\t' || *p == '\r' || *p == ',' || *p == ':')) p++; }
  std::string text() {
    std::string s;
    for (p++; p < end && *p != '"'; p++) {
      if (*p == '\\') p++;
      s += *p;
    }
    p++;
    return s;
  }
  Json value() {
    Json j;
    space();
    if (p >= end) throw std::runtime_error("short JSON");
    if (*p == '{') {
      for (p++, space(); *p != '}'; space()) {
        std::string k = text();
        j.obj[k] = value();
      }
      p++;
    } else if (*p == '[') {
      for (p++, space(); *p != ']'; space()) j.arr.push_back(value());
      p++;
    } else if (*p == '"') {
      j.str = text();
    } else if (*p == 't' || *p == 'f' || *p == 'n') {
      j.num = *p == 't';
      p += *p == 'f' ? 5 : 4;
    } else {
      char *e;
      j.num = strtod(p, &e);
      if (e == p) throw std::runtime_error("bad JSON");
      p = e;
    }
    return j;
  }
};

struct Mesh {
  size_t nv = 0, nt = 0;
  std::vector<float> pos;     // xyz, one float of padding at the end: Embree reads 16 bytes at the last vertex
  std::vector<uint32_t> idx;  // three a triangle
};

inline std::unique_ptr<uint8_t[]> read_all(const char *path, size_t &size) {
  FILE *f = fopen(path, "rb");
  if (!f) throw std::runtime_error(std::string("cannot open ") + path);
  fseek(f, 0, SEEK_END);
  size = ftell(f);
  fseek(f, 0, SEEK_SET);
  std::unique_ptr<uint8_t[]> b(new uint8_t[size]);
  setvbuf(f, nullptr, _IONBF, 0);
  if (fread(b.get(), 1, size, f) != size) throw std::runtime_error("short read");
  fclose(f);
  return b;
}

inline Mesh read_glb(const char *path) {
  size_t size;
  auto b = read_all(path, size);
  uint32_t jlen;
  memcpy(&jlen, b.get() + 12, 4);
  if (size < 28 || memcmp(b.get(), "glTF", 4) || 28 + size_t(jlen) > size) throw std::runtime_error("not a GLB");
  const char *text = reinterpret_cast<const char *>(b.get()) + 20;
  Json doc = JsonParser{text, text + jlen}.value();
  const uint8_t *bin = b.get() + 20 + jlen + 8;
  const Json &prim = doc["meshes"].at(0)["primitives"].at(0);
  auto bytes = [&](double accessor, size_t element, size_t &count) {
    const Json &a = doc["accessors"].at(accessor);
    const Json &v = doc["bufferViews"].at(a["bufferView"].num);
    count = size_t(a["count"].num);
    size_t at = size_t(a["byteOffset"].num) + size_t(v["byteOffset"].num);
    if (size_t(bin - b.get()) + at + count * element > size) throw std::runtime_error("accessor past the end");
    return bin + at;
  };
  Mesh m;
  size_t n;
  const uint8_t *p = bytes(prim["attributes"]["POSITION"].num, 12, m.nv);
  m.pos.reserve(3 * m.nv + 4);
  m.pos.resize(3 * m.nv);
  memcpy(m.pos.data(), p, 12 * m.nv);
  p = bytes(prim["indices"].num, 4, n);
  m.idx.resize(n);
  memcpy(m.idx.data(), p, 4 * n);
  m.nt = n / 3;
  return m;
}

// ---------------------------------------------------------------- rays

struct Ray { float org[3], dir[3], tmax; };

constexpr float kLift = 0.010f;  // metres; a ray's foot on the low surface is org + kLift*dir

inline std::vector<Ray> read_rays(const char *path) {
  size_t size;
  auto b = read_all(path, size);
  std::vector<Ray> r(size / sizeof(Ray));
  memcpy(r.data(), b.get(), r.size() * sizeof(Ray));
  return r;
}

// ---------------------------------------------------------------- timing, threads, reports

inline double now() {
  return std::chrono::duration<double>(std::chrono::steady_clock::now().time_since_epoch()).count();
}

inline double peak_mib() {
  rusage u;
  getrusage(RUSAGE_SELF, &u);
  return u.ru_maxrss / 1024.0;
}

// Workers are pinned, one a core: left alone, the scheduler of a small virtual machine at times ran two of them on one core for a whole
// query, which halves the figures. The mask is the one
// that the process started with, since a library may have narrowed the caller's; the caller's own is put back.
inline cpu_set_t starting_mask() {
  cpu_set_t m;
  pthread_getaffinity_np(pthread_self(), sizeof m, &m);
  return m;
}
inline const cpu_set_t kCores = starting_mask();

struct Pin {
  cpu_set_t before;
  explicit Pin(int worker) {
    pthread_getaffinity_np(pthread_self(), sizeof before, &before);
    int want = worker % std::max(1, CPU_COUNT(&kCores));
    cpu_set_t one;
    CPU_ZERO(&one);
    for (int c = 0; c < CPU_SETSIZE; c++)
      if (CPU_ISSET(c, &kCores) && want-- == 0) CPU_SET(c, &one);
    pthread_setaffinity_np(pthread_self(), sizeof one, &one);
  }
  ~Pin() { pthread_setaffinity_np(pthread_self(), sizeof before, &before); }
};

// for_chunks calls f(chunk, begin, end) for chunks of 4096 on n threads; each thread takes the next chunk when it is free.
constexpr size_t kChunk = 4096;
template <class F>
void for_chunks(size_t count, int threads, F f) {
  std::atomic<size_t> next{0};
  size_t chunks = (count + kChunk - 1) / kChunk;
  auto work = [&](int worker) {
    Pin pin(worker);
    for (size_t c; (c = next++) < chunks;) f(c, c * kChunk, std::min(count, (c + 1) * kChunk));
  };
  std::vector<std::thread> pool;
  for (int i = 1; i < threads; i++) pool.emplace_back(work, i);
  work(0);
  for (auto &t : pool) t.join();
}

// The processor time of all threads together tells what a run costs when other programs share the cores.
inline double cpu_seconds() {
  rusage u;
  getrusage(RUSAGE_SELF, &u);
  return u.ru_utime.tv_sec + u.ru_stime.tv_sec + (u.ru_utime.tv_usec + u.ru_stime.tv_usec) * 1e-6;
}

struct Timing {
  double seconds = 0, best = 0;  // median and least
  int reps = 0;
  double cpu = 0;  // least processor time
};

// median_of runs f up to three times, fewer once the runs together would pass half a minute, and gives the median (of two, the faster).
template <class F>
Timing median_of(F f) {
  std::vector<double> t;
  double total = 0, cpu = INFINITY;
  while (t.size() < 3 && (t.empty() || total + t.back() < 30)) {
    double a = now(), c = cpu_seconds();
    f();
    t.push_back(now() - a);
    cpu = std::min(cpu, cpu_seconds() - c);
    total += t.back();
  }
  std::sort(t.begin(), t.end());
  return {t[(t.size() - 1) / 2], t[0], int(t.size()), cpu};
}

struct Report {
  std::string peer;
  size_t tris;
  int threads;
  void line(const char *work, const Timing &t, size_t count, const std::string &figures) const {
    printf("{\"peer\":\"%s\",\"tris\":%zu,\"work\":\"%s\",\"threads\":%d,\"seconds\":%.4f,\"best\":%.4f,\"cpu\":%.4f,\"reps\":%d,\"count\":%zu%s%s}\n",
           peer.c_str(), tris, work, threads, t.seconds, t.best, t.cpu, t.reps, count, figures.empty() ? "" : ",", figures.c_str());
    fflush(stdout);
  }
};

inline std::string figure(const char *k, double v) {
  char b[96];
  snprintf(b, sizeof b, "\"%s\":%.9g", k, v);
  return b;
}

// With BENCH_DUMP=prefix the per-query results are also written, as float32, to prefix-WORK.f32.
inline void dump(const char *work, const std::vector<float> &v) {
  const char *prefix = getenv("BENCH_DUMP");
  if (!prefix) return;
  FILE *f = fopen((std::string(prefix) + "-" + work + ".f32").c_str(), "wb");
  if (!f) return;
  fwrite(v.data(), 4, v.size(), f);
  fclose(f);
}

// measure_distances times query(point) -> distance over count points and reports the largest and the mean.
template <class P, class Q>
void measure_distances(const Report &rep, const char *work, size_t count, P point, Q query) {
  std::vector<float> out(count);
  Timing s = median_of([&] {
    for_chunks(count, rep.threads, [&](size_t, size_t b, size_t e) {
      for (size_t i = b; i < e; i++) {
        float p[3];
        point(i, p);
        out[i] = query(p);
      }
    });
  });
  double sum = 0, top = 0;
  for (float d : out) {
    sum += d;
    top = std::max(top, double(d));
  }
  rep.line(work, s, count, figure("max", top) + "," + figure("mean", sum / count));
  dump(work, out);
}

// measure_rays times cast(begin, end, t), which writes each ray's nearest hit distance, negative for a miss.
template <class C>
void measure_rays(const Report &rep, const char *work, size_t count, C cast) {
  std::vector<float> t(count);
  Timing s = median_of([&] {
    for_chunks(count, rep.threads, [&](size_t, size_t b, size_t e) { cast(b, e, t.data()); });
  });
  size_t hits = 0;
  double sum = 0;
  for (float x : t)
    if (x >= 0) {
      hits++;
      sum += x;
    }
  rep.line(work, s, count, "\"hits\":" + std::to_string(hits) + "," + figure("sum_t", sum));
  dump(work, t);
}

inline void foot(const Ray &r, float p[3]) {
  for (int k = 0; k < 3; k++) p[k] = r.org[k] + kLift * r.dir[k];
}

struct Args {
  const char *high, *low, *rays;
  int threads;
  Args(int argc, char **argv) {
    if (argc != 5) {
      fprintf(stderr, "usage: %s HIGH.glb LOW.glb RAYS.f32 THREADS\n", argv[0]);
      exit(2);
    }
    high = argv[1], low = argv[2], rays = argv[3], threads = atoi(argv[4]);
  }
};
