/* Small vector and symmetric-tensor algebra in the plane and in space. */
#ifndef NRW_VEC3_H
#define NRW_VEC3_H

#include <math.h>

#include "units.h"

static inline nrw_vec3 nrw_vec3_add(nrw_vec3 a, nrw_vec3 b)
{
    return (nrw_vec3){a.x + b.x, a.y + b.y, a.z + b.z};
}

static inline nrw_vec3 nrw_vec3_scale(nrw_vec3 a, double s)
{
    return (nrw_vec3){a.x * s, a.y * s, a.z * s};
}

static inline double nrw_vec3_dot(nrw_vec3 a, nrw_vec3 b)
{
    return a.x * b.x + a.y * b.y + a.z * b.z;
}

static inline nrw_vec3 nrw_vec3_cross(nrw_vec3 a, nrw_vec3 b)
{
    return (nrw_vec3){a.y * b.z - a.z * b.y, a.z * b.x - a.x * b.z, a.x * b.y - a.y * b.x};
}

static inline double nrw_vec3_norm(nrw_vec3 a)
{
    return sqrt(nrw_vec3_dot(a, a));
}

/* Turns a vector by an angle about z. */
static inline nrw_vec3 nrw_vec3_turn(nrw_vec3 a, double angle_rad)
{
    double c = cos(angle_rad), s = sin(angle_rad);
    return (nrw_vec3){c * a.x - s * a.y, s * a.x + c * a.y, a.z};
}

/* Turns a vector by a rotation vector (Rodrigues), keeping its length. */
static inline nrw_vec3 nrw_vec3_turn_by(nrw_vec3 u, nrw_vec3 turn)
{
    const double angle = nrw_vec3_norm(turn);
    if (!(angle > 0.0))
        return u;
    const nrw_vec3 axis = nrw_vec3_scale(turn, 1.0 / angle);
    const double c = cos(angle), s = sin(angle), along = nrw_vec3_dot(axis, u) * (1.0 - c);
    return nrw_vec3_add(
        nrw_vec3_add(nrw_vec3_scale(u, c), nrw_vec3_scale(nrw_vec3_cross(axis, u), s)),
        nrw_vec3_scale(axis, along));
}

/* Symmetric 3 x 3 tensor. */
typedef struct nrw_sym3 {
    double xx, xy, xz, yy, yz, zz;
} nrw_sym3;

static inline nrw_sym3 nrw_sym3_outer(nrw_vec3 a)
{
    return (nrw_sym3){a.x * a.x, a.x * a.y, a.x * a.z, a.y * a.y, a.y * a.z, a.z * a.z};
}

/* a + s·b */
static inline nrw_sym3 nrw_sym3_add_scaled(nrw_sym3 a, nrw_sym3 b, double s)
{
    return (nrw_sym3){a.xx + s * b.xx, a.xy + s * b.xy, a.xz + s * b.xz,
                      a.yy + s * b.yy, a.yz + s * b.yz, a.zz + s * b.zz};
}

static inline nrw_vec3 nrw_sym3_times(nrw_sym3 m, nrw_vec3 a)
{
    return (nrw_vec3){m.xx * a.x + m.xy * a.y + m.xz * a.z, m.xy * a.x + m.yy * a.y + m.yz * a.z,
                      m.xz * a.x + m.yz * a.y + m.zz * a.z};
}

/* Solves m·x = b for a positive definite m (Cramer's rule on the adjugate). */
static inline nrw_vec3 nrw_sym3_solve(nrw_sym3 m, nrw_vec3 b)
{
    double axx = m.yy * m.zz - m.yz * m.yz, axy = m.xz * m.yz - m.xy * m.zz;
    double axz = m.xy * m.yz - m.xz * m.yy, ayy = m.xx * m.zz - m.xz * m.xz;
    double ayz = m.xy * m.xz - m.xx * m.yz, azz = m.xx * m.yy - m.xy * m.xy;
    double inverse = 1.0 / (m.xx * axx + m.xy * axy + m.xz * axz);
    return (nrw_vec3){inverse * (axx * b.x + axy * b.y + axz * b.z),
                      inverse * (axy * b.x + ayy * b.y + ayz * b.z),
                      inverse * (axz * b.x + ayz * b.y + azz * b.z)};
}

/* Turns a tensor by an angle about z: R m Rᵀ. */
static inline nrw_sym3 nrw_sym3_turn(nrw_sym3 m, double angle_rad)
{
    double c = cos(angle_rad), s = sin(angle_rad);
    return (nrw_sym3){c * c * m.xx - 2.0 * c * s * m.xy + s * s * m.yy,
                      c * s * (m.xx - m.yy) + (c * c - s * s) * m.xy,
                      c * m.xz - s * m.yz,
                      s * s * m.xx + 2.0 * c * s * m.xy + c * c * m.yy,
                      s * m.xz + c * m.yz,
                      m.zz};
}

#endif
