# Reference values for package mixture, base R only.
options(digits=15)
# 1. Penalised smoothing with GCV on a line of ten places and on a grid with a hole.
gcv <- function(P, z, w, s) {
  A <- diag(w) + s * P; H <- solve(A, diag(w)); f <- H %*% z
  n <- length(z); ed <- sum(diag(H))
  c(n * sum(w * (z - f)^2) / (n - ed)^2, ed, f, diag(solve(A)))
}
D <- diff(diag(10), differences = 2); P <- t(D) %*% D
z <- c(0.92,0.95,0.91,0.97,0.99,0.96,1.02,1.00,1.05,1.01); w <- c(3,4,5,3,8,3,6,4,3,5)
for (s in c(1, 100)) { cat("line", s, "\n"); print(gcv(P, z, w, s)) }
g <- expand.grid(x = 1:4, y = 1:3); g <- g[!(g$x == 2 & g$y == 2), ]; n <- nrow(g)
rows <- list()
for (i in 1:n) for (ax in 1:2) {
  d <- c(ax == 1, ax == 2) * 1
  a <- which(g$x == g$x[i] - d[1] & g$y == g$y[i] - d[2]); b <- which(g$x == g$x[i] + d[1] & g$y == g$y[i] + d[2])
  if (length(a) && length(b)) { r <- numeric(n); r[a] <- 1; r[i] <- -2; r[b] <- 1; rows[[length(rows) + 1]] <- r }
}
D <- do.call(rbind, rows); P <- t(D) %*% D
z <- c(0.90,0.93,0.91,0.95,0.88,0.97,0.99,0.92,0.94,0.99,1.01); w <- c(3,3,4,5,6,7,3,3,4,4,5)
cat("grid, places:", paste(g$x, g$y), "\n"); print(gcv(P, z, w, 2))
# 2. A parabola, its Fieller interval and its curvature.
x <- c(0.80,0.83,0.86,0.89,0.92,0.95,0.98); y <- c(59.1,59.7,60.2,60.0,59.8,59.2,58.3)
m <- mean(x); fit <- lm(y ~ I(x - m) + I((x - m)^2)); b <- coef(fit); V <- vcov(fit)
cat("coef", b, "sigma", sigma(fit), "\n")
fieller <- function(q) {
  # -b1/(2 b2): ratio of b1 over -2 b2
  n <- b[2]; d <- -2 * b[3]; vnn <- V[2,2]; vdd <- 4 * V[3,3]; vnd <- -2 * V[2,3]
  g <- q^2 * vdd / d^2; r <- n / d
  mid <- (r - g * vnd / vdd) / (1 - g)
  h <- q / d / (1 - g) * sqrt(vnn - 2 * r * vnd + r^2 * vdd - g * (vnn - vnd^2 / vdd))
  m + c(mid - h, mid + h)
}
cat("best", m - b[2] / (2 * b[3]), "fieller", fieller(qt(0.975, 4)), "\n")
top <- b[1] - b[2]^2 / (4 * b[3]); cat("curvature", -b[3] / top, "half", qt(0.975, 4) * sqrt(V[3,3]) / top, "\n")
r <- residuals(fit); cat("lag one", sum(r[-1] * r[-7]) / sum(r^2), "\n")
# 3. Welch on logs, and Student on five visits.
cat("t", t.test(c(0.93,0.95,0.92,0.96,0.94))$conf.int, "\n")
